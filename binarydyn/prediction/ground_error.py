"""How far the period change is off because it is known only roughly how steep the ground is where the ejecta leave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..impact import Impact, is_sure, slopes_about
from ..kinds import sure
from ..relaxed.start import Start
from ..scenario import Scenario
from .closed_forms import analytic_changes

_MIDDLE_68 = (0.158655, 0.841345)
WORTH_A_WARNING = 0.01
"""Share of the period change from which its error by the ground is warned of: a beta is known to some per cent."""


@dataclass(frozen=True)
class GroundError:
    """Of one hit on a mesh, or on ground whose slope is stated to be unknown.

    low_s, high_s: with the normals of single facets within radius_m of the site the period change lies between them on
    the middle 68 % of that ground; None on a smooth secondary.  sigma_s: 1 sigma of the one with the normal that was
    taken, by the scatter of those facets (impact/slopes.py) and as stated.  Differences are good to 15 %: what the
    impact's torque does to the period is left out.
    """

    radius_m: float
    low_s: float | None
    high_s: float | None
    sigma_s: float

    def remark(self, change_s: float) -> tuple[str, ...]:
        """A warning where it matters."""
        if self.sigma_s <= WORTH_A_WARNING * abs(change_s):
            return ()
        if self.low_s is None:
            return (f"the slope of the ground at the site leaves the period change uncertain by {self.sigma_s:.2g} s",)
        return (
            f"the mesh says only roughly how steep the ground is at the site: with the normals of single facets within "
            f"{self.radius_m:.3g} m the period change would be {self.low_s:+.5g} to {self.high_s:+.5g} s (68 % of that "
            f"ground), which leaves it uncertain by {self.sigma_s:.2g} s; a finer mesh helps",
        )


def ground_error(begun: Start, scenario: Scenario, impact: Impact, change_s: float | None) -> GroundError | None:
    """None where the normal is sure, without an impact or a period change, and for a hit of the primary, of whose
    ground it is not told; begun: the system before the impact."""
    if impact.status != "hit" or impact.mirror or change_s is None:
        return None
    if is_sure(begun.system.secondary, sure(scenario.impactor)):
        return None
    found = slopes_about(begun.system, begun.system.state, scenario, sure(impact.site))
    tilted, facets = (
        change_s + more_s(begun, found.taken_m_s, dv_m_s) for dv_m_s in (found.tilted_m_s, found.facets_m_s)
    )
    sigma = float(np.sqrt(0.5 * np.sum((tilted - change_s) ** 2)))
    if begun.system.secondary.spacing_m == 0.0:
        return GroundError(found.radius_m, None, None, sigma)
    low, high = _quantiles(facets, found.weights, _MIDDLE_68).tolist()
    return GroundError(found.radius_m, low, high, sigma)


def more_s(begun: Start, taken_m_s: np.ndarray, other_m_s: np.ndarray) -> np.ndarray:
    """(n,) by how much the period change would be another after velocity changes (3, n), along-track, radial, normal,
    in place of one (3,): the difference on a Kepler orbit, scaled to first order to an oblate primary."""
    columns = np.column_stack([taken_m_s, other_m_s]).T
    closed = [analytic_changes(begun.separation_m, begun.period_h, begun.system.oblateness_m2, dv) for dv in columns]
    kepler = np.array([each["vis_viva"] for each in closed])
    return closed[0]["oblate"] / closed[0]["first_order"] * (kepler[1:] - kepler[0])


def _quantiles(values: np.ndarray, weights: np.ndarray, shares: tuple[float, ...]) -> np.ndarray:
    """Values below which these shares of the weights lie."""
    order = np.argsort(values)
    return np.interp(shares, np.cumsum(weights[order]) - 0.5 * weights[order], values[order])
