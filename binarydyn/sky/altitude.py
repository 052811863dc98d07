"""How high Sun and pair stand above the horizon of a site: whether an event can be seen from there."""

from __future__ import annotations

import numpy as np

from ..kepler import position_velocity
from .ephemeris import observer_about_sun_m
from .geometry import Sky


def altitudes_deg(sky: Sky, seen_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(m,) each, of the Sun's and of the system's centre at times on the site's clock, s from t0; needs a site.

    Above the plane across the line from the Earth's centre, which departs from the true horizon by up to 0.2 deg; no
    refraction (0.6 deg at the horizon).
    """
    time = np.atleast_1d(np.asarray(seen_s, dtype=float))
    site = observer_about_sun_m(sky.clock, time, sky.site)
    zenith = _unit(site - observer_about_sun_m(sky.clock, time))
    pair, _ = position_velocity(sky.elements, time - sky.at(time).light_time_s)
    return tuple(np.degrees(np.arcsin(np.sum(zenith * _unit(line), axis=1))) for line in (-site, pair - site))


def _unit(vectors: np.ndarray) -> np.ndarray:
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]
