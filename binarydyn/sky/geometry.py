"""From where the system is lit and from where it is seen: directions to the Sun and to the observer, light time,
angles.

Two-body motion about the Sun (kepler.py), astropy's Earth (ephemeris.py).  Frame of the directions: the system's
inertial one, z along the pole of the mutual orbit before t0.  Seconds from t0 are instants *at the system*; what
happens then is seen a light time later.  Neglected: the Sun's motion about the barycentre during the light time (below
1e-7 rad), the bending of light, the light time across the pair (microseconds).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..constants import ASTRONOMICAL_UNIT_M, SPEED_OF_LIGHT_M_S
from ..epochs import moment
from ..errors import InputError
from ..impact.frame import ecliptic_axes
from ..kepler import Elements, position_velocity
from ..scenario import Scenario
from ..scenario.tables.heliocentric import elements_at_impact
from .ephemeris import Clock, ObservingSite, observer_about_sun_m

_LIGHT_TIME_STEPS = 2
"""Each gains a factor of the Earth's speed over c, 1e-4, as does what is then worked out at the delay."""
_NODES = 6
_OTHERS = np.array([[k for k in range(_NODES) if k != j] for j in range(_NODES)])
_BETWEEN = (np.arange(_NODES)[:, None] - _OTHERS).prod(axis=1)
SUN_RADIUS_M = 6.957e8
"""Nominal radius of the Sun (IAU 2015 resolution B3)."""


def light_time_s(line_m: np.ndarray) -> np.ndarray:
    """(m,) that light takes along lines (m, 3)."""
    return np.linalg.norm(line_m, axis=1) / SPEED_OF_LIGHT_M_S


def settled_delay_s(of_delay: Callable[[np.ndarray], np.ndarray], time_s: np.ndarray) -> np.ndarray:
    """The light time (m,) at times (m,) that is what it makes of itself: of_delay gives it for a delay."""
    delay = np.zeros_like(time_s)
    for _ in range(_LIGHT_TIME_STEPS):
        delay = of_delay(delay)
    return delay


@dataclass(frozen=True)
class Geometry:
    """Directions at m instants at the system, unit vectors (m, 3) in its inertial frame, with what follows from them.

    sun, observer: the straight lines to the Sun and to where the observer is when the light arrives.
    sunward, earthward: the same as light runs in the frame that moves with the system, where shadows and outlines are
    cast: turned by v/c of the system about the Sun, 1e-4 rad, some 0.5 s of a 12-h orbit.
    """

    time_s: np.ndarray
    sun: np.ndarray
    observer: np.ndarray
    sunward: np.ndarray
    earthward: np.ndarray
    sun_distance_m: np.ndarray
    observer_distance_m: np.ndarray

    @property
    def light_time_s(self) -> np.ndarray:
        """(m,) from the system to the observer."""
        return self.observer_distance_m / SPEED_OF_LIGHT_M_S

    @property
    def phase_angle_deg(self) -> np.ndarray:
        """(m,) Sun - pair - observer; from the chord, so exact at opposition too."""
        chord = np.linalg.norm(self.sun - self.observer, axis=1)
        return np.degrees(2.0 * np.arcsin(np.clip(0.5 * chord, 0.0, 1.0)))

    @property
    def aspect_deg(self) -> np.ndarray:
        """(m,) between the pole of the mutual orbit before t0 and the observer; 90: the orbit is seen edge-on."""
        return np.degrees(np.arccos(np.clip(self.observer[:, 2], -1.0, 1.0)))

    @property
    def solar_aspect_deg(self) -> np.ndarray:
        """(m,) between that pole and the Sun."""
        return np.degrees(np.arccos(np.clip(self.sun[:, 2], -1.0, 1.0)))

    @property
    def sun_distance_au(self) -> np.ndarray:
        """(m,) from the Sun to the system."""
        return self.sun_distance_m / ASTRONOMICAL_UNIT_M

    @property
    def observer_distance_au(self) -> np.ndarray:
        """(m,) from the observer to the system."""
        return self.observer_distance_m / ASTRONOMICAL_UNIT_M

    @property
    def sun_radius_rad(self) -> np.ndarray:
        """(m,) angular radius of the Sun seen from the system."""
        return np.arcsin(SUN_RADIUS_M / self.sun_distance_m)


@dataclass(frozen=True)
class Sky:
    """What decides where Sun and observer are: the system's elements (mean anomaly at t0), t0, its frame, the site.

    axes (3, 3): inertial = axes @ ecliptic J2000.
    """

    elements: Elements
    clock: Clock
    axes: np.ndarray
    site: ObservingSite | None = None

    @classmethod
    def of(cls, scenario: Scenario) -> Sky:
        """From [heliocentric_orbit], impact_epoch_utc, the orbit's pole and [observer].

        InputError where one of the first three is missing.
        """
        helio, place = scenario.heliocentric_orbit, scenario.place
        if helio is None:
            raise InputError(
                f"{place}:heliocentric_orbit",
                "the table is missing, events need the system's orbit about the Sun; add it",
            )
        if not scenario.impact_epoch_utc:
            raise InputError(
                f"{place}:impact_epoch_utc", "the key is missing, events need the date of t0; add it in UTC"
            )
        if scenario.mutual_orbit.pole_deg is None:
            raise InputError(
                f"{place}:mutual_orbit.pole_longitude_deg",
                "the key is missing, events need the pole of the mutual orbit; add its longitude and latitude",
            )
        clock = Clock(moment(scenario.impact_epoch_utc))
        elements = elements_at_impact(helio, scenario.impact_epoch_utc)
        seen_from = scenario.observer
        site = None
        if seen_from.longitude_deg is not None and seen_from.latitude_deg is not None:
            site = ObservingSite(seen_from.longitude_deg, seen_from.latitude_deg, seen_from.height_m)
        return cls(elements, clock, ecliptic_axes(scenario.mutual_orbit), site)

    def at(self, time_s) -> Geometry:
        """Directions at instants (m,), s from t0, at the system."""
        time = np.atleast_1d(np.asarray(time_s, dtype=float))
        pair, velocity = position_velocity(self.elements, time)

        def line_after(delay_s: np.ndarray) -> np.ndarray:
            return observer_about_sun_m(self.clock, time + delay_s, self.site) - pair

        line = line_after(settled_delay_s(lambda delay_s: light_time_s(line_after(delay_s)), time))
        sun, seen = unit_rows(-pair), unit_rows(line)
        drag = velocity / SPEED_OF_LIGHT_M_S
        turned = [vectors @ self.axes.T for vectors in (sun, seen, unit_rows(sun + drag), unit_rows(seen - drag))]
        to_sun, to_observer, sunward, earthward = turned
        return Geometry(
            time, to_sun, to_observer, sunward, earthward, np.linalg.norm(pair, axis=1), np.linalg.norm(line, axis=1)
        )

    @cached_property
    def light_time_s(self) -> float:
        """From the system to the observer, of what happens at t0."""
        return float(self.at(0.0).light_time_s[0])

    def observed_utc(self, time_s) -> list[str]:
        """When (UTC) what happens at instants (m,) at the system is seen."""
        time = np.atleast_1d(np.asarray(time_s, dtype=float))
        return self.clock.utc(time + self.at(time).light_time_s) if len(time) else []


def unit_rows(vectors: np.ndarray) -> np.ndarray:
    """Vectors (m, 3) over their lengths."""
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]


def _lagrange(x: np.ndarray) -> np.ndarray:
    """(_NODES, m) weights of values at 0, 1, .. for the value at x (m,) of the polynomial through them."""
    away = x - np.arange(_NODES)[:, None]
    return away[_OTHERS].prod(axis=1) / _BETWEEN[:, None]


@dataclass(frozen=True)
class Sight:
    """Directions over a window as smooth curves: looked up by the thousand, computed once an hour.

    Polynomials of degree 5 through six hours; their error is below 1e-8 rad with the Earth's rotation in them, unless
    the system passes within about 0.01 au.
    """

    sky: Sky
    start_s: float
    end_s: float

    _SPACING_S = 3600.0

    @cached_property
    def _table(self) -> tuple[np.ndarray, np.ndarray]:
        count = max(_NODES, int(np.ceil((self.end_s - self.start_s) / self._SPACING_S)) + 1)
        time = np.linspace(self.start_s, self.end_s, count)
        g = self.sky.at(time)
        return time, np.column_stack([g.sunward, g.earthward, g.sun_radius_rad, g.light_time_s])

    def _curves(self, time_s: np.ndarray, columns: slice) -> np.ndarray:
        """(m, c) some columns of the table at times (m,)."""
        times, table = self._table
        place = (time_s - times[0]) / (times[1] - times[0])
        first = np.clip(place.astype(int) - (_NODES // 2 - 1), 0, len(times) - _NODES)
        weights = _lagrange(place - first)
        return np.einsum("jm,jmc->mc", weights, table[first + np.arange(_NODES)[:, None], columns])

    def for_sky(self, sky: Sky) -> Sight:
        """The directions over the same window for another sky: turned, where only the pole of the orbit differs."""
        other = Sight(sky, self.start_s, self.end_s)
        if (sky.elements, sky.clock, sky.site) == (self.sky.elements, self.sky.clock, self.sky.site):
            turn, (time, table) = sky.axes @ self.sky.axes.T, self._table
            turned = [table[:, 0:3] @ turn.T, table[:, 3:6] @ turn.T, table[:, 6:]]
            other.__dict__["_table"] = time, np.column_stack(turned)
        return other

    def sunward(self, time_s: np.ndarray) -> np.ndarray:
        """(m, 3) where light comes from in the system's frame."""
        return unit_rows(self._curves(time_s, slice(0, 3)))

    def earthward(self, time_s: np.ndarray) -> np.ndarray:
        """(m, 3) where light leaves to in the system's frame."""
        return unit_rows(self._curves(time_s, slice(3, 6)))

    def sun_radius_rad(self, time_s: np.ndarray) -> np.ndarray:
        """(m,) angular radius of the Sun."""
        return self._curves(time_s, slice(6, 7))[:, 0]

    def light_time_s(self, time_s: np.ndarray) -> np.ndarray:
        """(m,) to the observer."""
        return self._curves(time_s, slice(7, 8))[:, 0]

    def left_s(self, seen_s: np.ndarray) -> np.ndarray:
        """(m,) when the light that is seen at times (m,) on the observer's clock left the system."""
        delay = settled_delay_s(lambda delay_s: self.light_time_s(seen_s - delay_s), seen_s)
        return seen_s - self.light_time_s(seen_s - delay)


def altitudes_deg(sky: Sky, seen_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(m,) each, of the Sun's and of the system's centre at times on the site's clock, s from t0; needs a site.

    Above the plane across the line from the Earth's centre, which departs from the true horizon by up to 0.2 deg; no
    refraction (0.6 deg at the horizon).
    """
    time = np.atleast_1d(np.asarray(seen_s, dtype=float))
    site = observer_about_sun_m(sky.clock, time, sky.site)
    zenith = unit_rows(site - observer_about_sun_m(sky.clock, time))

    def line_before(delay_s: np.ndarray) -> np.ndarray:
        return position_velocity(sky.elements, time - delay_s)[0] - site

    pair = line_before(settled_delay_s(lambda delay_s: light_time_s(line_before(delay_s)), time))
    return tuple(np.degrees(np.arcsin(np.sum(zenith * unit_rows(line), axis=1))) for line in (-site, pair))
