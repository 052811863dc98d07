"""What a fit of event times says: periods, their change as a mixture over counts of turns, ellipses, noise, O-C."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from .mixture import Mixture
from .numbers import eccentricity_of
from .terms import INDEX, NAMES, TURN

CERTAIN = 0.99
"""Weight from which one count of turns is taken for the right one."""


@dataclass(frozen=True)
class Count:
    """One count of turns: its weight, its periods, the change and its sigma, chi2 of its best
    minimum, with the noise that the data say."""

    weight: float
    period_before_h: float
    period_after_h: float
    change_s: float
    change_sigma_s: float
    chi2: float


@dataclass(frozen=True)
class Fit:
    """The fit with the heaviest count of turns, and the period change over all of them.

    values, covariance (9, 9): of the parameters (terms.NAMES), moments of the heaviest count.  change, s, eccentricity
    (after t0) and apsidal, rad/s: mixtures over everything.  Per event (n,), s: residual_s, O-C against the whole
    model; line_s, the same without the ellipses' swing; before_s, O-C against what holds before t0.  counted_rad:
    longitudes with their turns.  chi2: with the sigmas as stated, degrees: of freedom.  scale, tau_s: mean and sd of
    the factor on the sigmas, and of the common error of a group.  tried_drift_rad_s2: the drift of the mean motion and
    its sigma that the data alone give.  limit_s: the part of the change's sigma that more measurements of the same
    kind would leave: what the model of the middles may have wrong.  outliers: times that lie FAR off, where the loss
    looks for them.  stated: whether sigmas were given.  larger: causes of wrong middles that lie far off,
    and by how much their sigma was made larger.
    """

    values: dict[str, float]
    covariance: np.ndarray
    change: Mixture
    eccentricity: Mixture
    apsidal: Mixture
    residual_s: np.ndarray
    line_s: np.ndarray
    before_s: np.ndarray
    counted_rad: np.ndarray
    chi2: float
    degrees: int
    scale: tuple[float, float]
    tau_s: tuple[float, float]
    tried_drift_rad_s2: tuple[float, float]
    limit_s: float
    stated: bool
    larger: tuple[tuple[str, float], ...]
    outliers: int | None = None

    @property
    def count(self) -> int:
        """Number of events."""
        return len(self.residual_s)

    def sigma(self, *gradient: tuple[str, float]) -> float:
        """One sigma of a quantity with these derivatives with respect to parameters."""
        g = np.zeros(len(NAMES))
        for name, slope in gradient:
            g[INDEX[name]] += slope
        return float(np.sqrt(g @ self.covariance @ g))

    def period_h(self, side: str) -> float:
        """Mean sidereal period, `before` or `after`, at t0."""
        return TURN / self.values[f"rate_{side}"] / HOUR_S

    def period_sigma_s(self, side: str) -> float:
        """Of the same."""
        return self.sigma((f"rate_{side}", TURN / self.values[f"rate_{side}"] ** 2))

    @property
    def change_s(self) -> float:
        """Period after minus period before: the mean over all counts."""
        return self.change.mean

    @property
    def change_sigma_s(self) -> float:
        """Of the same."""
        return self.change.sigma

    def of(self, name: str) -> tuple[float, float]:
        """A parameter and its sigma."""
        return self.values[name], self.sigma((name, 1.0))

    @property
    def eccentricity_after(self) -> tuple[float, float]:
        """And its sigma."""
        return self.eccentricity.mean, self.eccentricity.sigma

    @property
    def eccentricity_before(self) -> tuple[float, float]:
        """Of an ellipse before t0, and its sigma."""
        x = np.array([self.values[name] for name in NAMES])
        e, sigma = eccentricity_of(x[None], self.covariance[None], "before")
        return float(e[0]), float(sigma[0])

    @property
    def scatter_s(self) -> float:
        """Root mean square of the O-C against the model, for its degrees of freedom."""
        return float(np.sqrt(np.sum(self.residual_s**2) / max(self.degrees, 1)))


@dataclass(frozen=True)
class Timing:
    """The fit, the counts of turns with their weights, the heaviest first, and the longest gap between events on
    either side."""

    fit: Fit
    counts: tuple[Count, ...]
    gap_before_s: float
    gap_after_s: float

    @property
    def others(self) -> tuple[Count, ...]:
        """Counts beside the first where that is not CERTAIN."""
        return self.counts[1:] if self.counts[0].weight < CERTAIN else ()
