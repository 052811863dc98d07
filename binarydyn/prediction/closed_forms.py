"""Closed-form estimates of the period change, beside the simulated one.

What each uses and how far it can be trusted.
"""

from __future__ import annotations

import math

import numpy as np

from ..constants import HOUR_S
from ..motion.state import oblate_term


def analytic_changes(
    separation_m: float, period_h: float, oblateness_m2: float, dv_m_s: np.ndarray
) -> dict[str, float]:
    """Period changes in seconds for dv = (along-track, radial, normal), m/s; all take a = separation, n = 2 pi /
    period, v = n a.

    first_order: dP/P = 3 dv_t / v (circular orbit).  vis_viva: the whole dv on a Kepler orbit with GM = n^2 a^3,
    exact for a point-mass pair (Murray & Dermott 1999, ch. 2).  oblate: coefficient 4 (1 + k)/(1 - k) -
    1 in place of 3, with k = oblate_term: circular equatorial orbit about an oblate primary of J2 R^2 =
    oblateness_m2, first order in dv.  vis_viva is nan where the system would part.
    """
    period_s = period_h * HOUR_S
    n = 2.0 * math.pi / period_s
    v = n * separation_m
    along, radial, normal = (float(x) for x in dv_m_s)
    k = oblate_term(oblateness_m2, separation_m)
    inverse_axis = 2.0 - ((v + along) ** 2 + radial**2 + normal**2) / v**2
    return {
        "first_order": period_s * 3.0 * along / v,
        "vis_viva": period_s * (inverse_axis**-1.5 - 1.0) if inverse_axis > 0.0 else math.nan,
        "oblate": period_s * (4.0 * (1.0 + k) / (1.0 - k) - 1.0) * along / v,
    }
