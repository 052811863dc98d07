"""Where the system is among the planets, and when it is hit: [heliocentric_orbit] and the impact's epoch."""

from __future__ import annotations

import math
from dataclasses import replace

from pydantic_core import PydanticCustomError

from ...constants import ASTRONOMICAL_UNIT_M
from ...epochs import moment, seconds_since
from ...kepler import Elements
from ..fields import Number, Table, key, refusal

_TURN = (-360.0, 360.0)
EPOCH_YEARS = (1972, 2100)
"""UTC in its present form began in 1972; beyond 2100 its leap seconds are anybody's guess."""


class HeliocentricOrbit(Table):
    """Osculating elements of the system's barycentre about the Sun, ecliptic and equinox J2000."""

    semi_major_axis_au: Number = key(
        ..., "au", "from inside the orbit of any known asteroid to the outer belt", 0.1, 1e3
    )
    eccentricity: Number = key(..., "", "an ellipse; 0.99 is nearer the Sun than any rubble pile lasts", 0.0, 0.99)
    inclination_deg: Number = key(..., "deg", "to the ecliptic; above 90 is retrograde", 0.0, 180.0)
    node_deg: Number = key(..., "deg", "ecliptic longitude of the ascending node", *_TURN)
    argument_of_pericentre_deg: Number = key(..., "deg", "from the node along the motion", *_TURN)
    mean_anomaly_deg: Number = key(..., "deg", "at the epoch of the elements", *_TURN)
    epoch_jd_tdb: Number = key(..., "d", "Julian date (TDB) of the elements, years 1858 to 2132", 2.4e6, 2.5e6)


def elements_of(orbit: HeliocentricOrbit) -> Elements:
    """The scenario's elements in SI units, at their epoch."""
    return Elements(
        orbit.semi_major_axis_au * ASTRONOMICAL_UNIT_M,
        orbit.eccentricity,
        *(
            math.radians(angle)
            for angle in (
                orbit.inclination_deg,
                orbit.node_deg,
                orbit.argument_of_pericentre_deg,
                orbit.mean_anomaly_deg,
            )
        ),
    )


def elements_at_impact(orbit: HeliocentricOrbit, impact_epoch_utc: str) -> Elements:
    """The same ellipse with the mean anomaly at the impact."""
    return elements_after(orbit, seconds_since(orbit.epoch_jd_tdb, impact_epoch_utc))


def elements_after(orbit: HeliocentricOrbit, time_s: float) -> Elements:
    """The same ellipse with the mean anomaly at a time from the epoch of its elements."""
    elements = elements_of(orbit)
    anomaly = elements.mean_anomaly_rad + elements.mean_motion_rad_s() * time_s
    return replace(elements, mean_anomaly_rad=anomaly % (2.0 * math.pi))


def epoch_refusal(text: str) -> PydanticCustomError | None:
    """What is wrong with an epoch in UTC; None where nothing is, or where it is empty."""
    if not text:
        return None
    example = 'such as "2031-05-06T07:08:09.1"'
    try:
        year = moment(text).year
    except ValueError:
        return refusal(
            "impact_epoch_utc",
            f'"{text[:40]}" is given, allowed is an ISO 8601 date and time in UTC, {example}; write one',
        )
    low, high = EPOCH_YEARS
    if not low <= year <= high:
        return refusal("impact_epoch_utc", f"the year {year} is given, allowed is {low} .. {high}; change it")
    return None
