"""How high Sun and pair stand above the horizon of a site: whether an event can be seen from there."""

from __future__ import annotations

import numpy as np

from ..kepler import position_velocity
from .ephemeris import observer_about_sun_m
from .geometry import Sky, light_time_s, settled_delay_s, unit_rows


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
