"""What mass that joins and leaves the secondary at the impact is worth in the period change, in closed form.

The secondary's centre moves by d and its velocity by w x d with it (impact/books/masses.py); on a Kepler orbit from r +
d with v + dv about G M' the period is 2 pi G M' (2 G M'/|r + d| - |v + dv|^2)^(-3/2).  Here against the one with the
same impulse on the old mass, scaled as velocity changes are to an oblate primary.  For d small, outward, and a
secondary that turns with its orbit: dP/P = 6 d/a, half of it by the shift.
"""

from __future__ import annotations

import numpy as np

from ..columns import length, turned
from ..constants import HOUR_S
from ..impact import Impact, orbit_axes
from ..relaxed.start import Start
from .closed_forms import analytic_changes


def mass_share_s(begun: Start, impact: Impact) -> float | None:
    """Seconds; None without an exchange of mass.  What it does to the attitude, and so to the period, is left out."""
    exchange = impact.exchange
    if exchange is None:
        return None
    axes, n = orbit_axes(begun.system.state), 2.0 * np.pi / (begun.period_h * HOUR_S)
    r, v = np.array([0.0, begun.separation_m, 0.0]), np.array([n * begun.separation_m, 0.0, 0.0])
    gm, ratio = n**2 * begun.separation_m**3, exchange.system.mass_kg / begun.system.mass_kg
    kept_m_s = turned(axes, impact.kept_dv_m_s)
    shift_m = -exchange.shift_m if impact.mirror else exchange.shift_m
    with_s = _period_s(r + turned(axes, shift_m), v + turned(axes, impact.dv_m_s), ratio * gm)
    without_s = _period_s(r, v + kept_m_s, gm)
    one = analytic_changes(begun.separation_m, begun.period_h, begun.system.oblateness_m2, np.array([1e-6, 0.0, 0.0]))
    share_s = one["oblate"] / one["first_order"] * (with_s - without_s)
    return float(share_s) if np.isfinite(share_s) else None


def _period_s(r: np.ndarray, v: np.ndarray, gm: float) -> float:
    """Of a Kepler orbit; nan where it is unbound."""
    energy = 2.0 * gm / length(r) - length(v) ** 2
    return float(2.0 * np.pi * gm * energy**-1.5) if energy > 0.0 else np.nan
