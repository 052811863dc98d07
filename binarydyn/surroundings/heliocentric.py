"""What the impact does to the system's own orbit about the Sun, and how far that moves it after years.

The barycentre's velocity change, in ecliptic axes, is added to its motion at the impact; how far that moves it on
its ellipse is told to first order in the change, which is some 1e-9 of the motion.  Right as long as the planets pull
both orbits alike: years, not beyond a close approach to a planet, which multiplies the difference.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..constants import EARTH_RADIUS_M, GM_SUN, YEAR_S
from ..errors import InputError
from ..impact.frame import ecliptic_axes
from ..kepler import Elements, displacement_m, elements_at, position_velocity
from ..scenario import HeliocentricOrbit, MutualOrbit
from ..scenario.tables.heliocentric import elements_at_impact


def ecliptic_dv_m_s(barycentre_dv_m_s: np.ndarray, mutual_orbit: MutualOrbit) -> np.ndarray:
    """(3,) a vector of the system's inertial frame in ecliptic J2000 axes; InputError where the orbit has no pole."""
    return np.asarray(barycentre_dv_m_s, dtype=float) @ ecliptic_axes(mutual_orbit)


@dataclass(frozen=True)
class Deflection:
    """The heliocentric orbit at the impact and what the barycentre's dv (3,), m/s, ecliptic J2000, makes of it."""

    before: Elements
    dv_m_s: np.ndarray

    @property
    def after(self) -> Elements:
        """Elements just after the impact."""
        position, velocity = position_velocity(self.before)
        return elements_at(position, velocity + self.dv_m_s)

    @property
    def along_track_m_s(self) -> float:
        """Component along the heliocentric velocity, the one that changes the period and so grows with time."""
        _, velocity = position_velocity(self.before)
        return float(self.dv_m_s @ velocity / np.linalg.norm(velocity))

    @property
    def radial_normal_m_s(self) -> tuple[float, float]:
        """Across the velocity in the orbital plane, outward; and along the orbit's pole."""
        _, velocity = position_velocity(self.before)
        pole = self.before.axes[2]
        outward = np.cross(velocity / np.linalg.norm(velocity), pole)
        return float(self.dv_m_s @ outward), float(self.dv_m_s @ pole)

    @property
    def period_change_s(self) -> float:
        """Of the revolution about the Sun: 3 P a v dv_t / GM, to first order as `displacement_m`."""
        _, velocity = position_velocity(self.before)
        change = 3.0 * self.before.semi_major_axis_m / GM_SUN * float(velocity @ self.dv_m_s)
        return 2.0 * math.pi / self.before.mean_motion_rad_s() * change

    def displacement_m(self, years) -> tuple[np.ndarray, np.ndarray]:
        """(along the velocity, total), m, of the system from where it would have been; years (...) after the impact.

        Along is negative where the velocity change has let it fall behind.
        """
        times = np.asarray(years, dtype=float) * YEAR_S
        _, velocity = position_velocity(self.before, times)
        apart = displacement_m(self.before, self.dv_m_s, times)
        along = np.sum(apart * velocity, axis=-1) / np.linalg.norm(velocity, axis=-1)
        return along, np.linalg.norm(apart, axis=-1)


def rule_of_thumb_m(dv_m_s: float, years) -> np.ndarray:
    """-3 dv t: the displacement along the track of a near-circular orbit (Ahrens & Harris 1992, Nature 360, 429).

    A velocity change along the motion raises the orbit, which then falls behind.
    """
    return -3.0 * dv_m_s * np.asarray(years, dtype=float) * YEAR_S


def lead_years_for_earth_radius(dv_m_s: float) -> float:
    """Years for 3 dv t = one Earth radius, inf for no velocity change: about 0.07 m/s / years (Ahrens & Harris
    1992)."""
    return EARTH_RADIUS_M / (3.0 * abs(dv_m_s)) / YEAR_S if dv_m_s else math.inf


def deflection(
    orbit: HeliocentricOrbit | None, impact_epoch_utc: str, mutual_orbit: MutualOrbit, barycentre_dv_m_s: np.ndarray
) -> Deflection:
    """Of a change of the barycentre's velocity in the system's inertial frame; InputError names what is missing."""
    if not orbit or not impact_epoch_utc:
        name = "impact_epoch_utc" if orbit else "heliocentric_orbit"
        raise InputError(name, "it is not given, the effect on the heliocentric orbit needs it; add it")
    return Deflection(elements_at_impact(orbit, impact_epoch_utc), ecliptic_dv_m_s(barycentre_dv_m_s, mutual_orbit))
