"""A pair in closed form: numbers that publications give as functions of what is unknown, from any handbook.

Apsidal rate of an equatorial orbit about an oblate primary, 3/2 J2 (R/a)^2 n, with J2 = (a^2 - c^2)/(5 a^2) of a
spheroid; rate of libration n sqrt(3 (B - A)/C) (Murray & Dermott 1999, Solar System Dynamics, sections 6.11 and 5.4,
from memory); the change of the period and of the eccentricity vector by a velocity change along the track of a circular
orbit of Kepler.
"""

from dataclasses import dataclass

import numpy as np

from binarydyn.constants import DAY_S, HOUR_S
from binarydyn.reconstruction.unknowns import Unknown, Unknowns

RADIUS_M, SHORT_M, SEPARATION_M = 270.0, 246.0, 821.0
ROUGH = {"e_cos": (0.0, 0.01), "e_sin": (0.0, 0.01), "short_m": (SHORT_M, 8.0), "a_b": (1.2, 0.03)}
NAMES = (
    "period_before_h", "period_change_s", "eccentricity_after", "apsidal_precession_after_deg_day",
    "libration_period_after_h",
)  # fmt: skip


def unknowns() -> Unknowns:
    """Period, velocity change and separation beside those of ROUGH."""
    free = [Unknown("period_h", 10.42, 1e-3, smooth=True), Unknown("dv_mm_s", -2.0, 0.02, smooth=True)]
    rough = [Unknown.normal(name, *prior) for name, prior in ROUGH.items()]
    return Unknowns.listed([*free, *rough, Unknown.normal("separation_m", SEPARATION_M, 8.0)])


def apsidal_deg_day(short_m, separation_m, n):
    """3/2 J2 (R/a)^2 n."""
    j2 = (RADIUS_M**2 - short_m**2) / (5.0 * RADIUS_M**2)
    return np.degrees(1.5 * j2 * (RADIUS_M / separation_m) ** 2 * n * DAY_S)


def libration_h(a_b, n):
    """2 pi over n sqrt(3 (B - A)/C), of an ellipsoid: (a^2 - b^2)/(a^2 + b^2)."""
    return 2.0 * np.pi / (n * np.sqrt(3.0 * (a_b**2 - 1.0) / (a_b**2 + 1.0))) / HOUR_S


def kepler_change_s(separation_m, n, dv_m_s):
    """Of a circular orbit: 1/a' = 2/a - (n a + dv)^2/GM, GM = n^2 a^3."""
    gm = n**2 * separation_m**3
    axis = 1.0 / (2.0 / separation_m - (n * separation_m + dv_m_s) ** 2 / gm)
    return 2.0 * np.pi * (np.sqrt(axis**3 / gm) - 1.0 / n)


@dataclass(frozen=True)
class ClosedNumbers:
    """The numbers at guesses; names of unknowns are numbers too."""

    unknowns: Unknowns

    def of(self, u, names):
        period, dv, e_cos, e_sin, short, a_b, separation = values = self.unknowns.value(u).T
        n = 2.0 * np.pi / (period * HOUR_S)
        swing = 2.0 * 1e-3 * dv / (n * separation)
        found = {
            "period_before_h": period,
            "period_change_s": kepler_change_s(separation, n, 1e-3 * dv),
            "eccentricity_after": np.hypot(e_cos + swing, e_sin),
            "apsidal_precession_after_deg_day": apsidal_deg_day(short, separation, n),
            "libration_period_after_h": libration_h(a_b, n),
        } | dict(zip(self.unknowns.names, values, strict=True))
        return np.column_stack([found[name] for name in names])
