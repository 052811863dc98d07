"""Accepted scenarios at the edges of the ranges, whose numbers are looked at: finite, conserving, possible.

A pair of any size, shape, density and distance that Kepler's third law allows, from the ends of the ranges, hit or
pushed by anything that is allowed.  Each is one line: where it ended, and what is wrong with its numbers.
"""

from __future__ import annotations

import math
import random
from collections import Counter

import numpy as np

from binarydyn.errors import BinarydynError, InputError
from binarydyn.prediction import Prediction, predict
from binarydyn.scenario import Scenario

G = 6.67430e-11  # m3 kg-1 s-2, CODATA 2018
DRIFT, ROUNDING = 1e-9, 1e-13
"""Largest error of energy and angular momentum, in those of the orbit, at the tolerance of 1e-12; and what rounding
adds over some thousand steps, in those of the spins, which may be a million times as large as the orbit's."""
PERIOD = 1e-7
"""Relative error of the period of a start; eccentric ones are found by a fit, whose residual is reported."""
ORBITS = 30.0


def _axes(chance: random.Random, largest_m: float) -> list[float]:
    """From a ball to a needle or a disc of the largest ratio, 20."""
    kind = chance.randrange(5)
    ratios = ((1.0, 1.0), (1.05, 1.02), (1.4, 1.2), (1.0, 2.0), (2.0, 1.0))[kind]
    return [largest_m, largest_m / ratios[0], largest_m / ratios[0] / ratios[1]]


def data(number: int) -> dict:
    """A scenario as plain data."""
    chance = random.Random(f"edge {number}")
    size_m = chance.choice((0.5, 10.0, 300.0, 5e4, 9.9e5))
    small_m = max(0.1, size_m * chance.choice((0.01, 0.1, 0.3, 0.9)))
    density = chance.choice((10.0, 500.0, 2000.0, 8000.0, 20000.0))
    one, two = _axes(chance, size_m), _axes(chance, small_m)
    distance_m = (size_m + small_m) * chance.choice((1.3, 2.0, 3.0, 10.0, 60.0))
    mass = 4.0 / 3.0 * math.pi * density * (math.prod(one) + math.prod(two))
    period_h = 2.0 * math.pi * math.sqrt(distance_m**3 / (G * mass)) / 3600.0
    days = min(36500.0, ORBITS * period_h / 24.0)
    found = {
        "primary": {
            "semi_axes_m": one,
            "density_kg_m3": density,
            "spin_period_h": min(1e5, max(0.1, period_h * chance.choice((0.2, 0.5, 3.0))))
            * chance.choice((1.0, 1.0, -1.0)),
            "rotation_phase_deg": chance.choice((0.0, -360.0, 77.0, 360.0)),
        },
        "secondary": {"semi_axes_m": two, "density_kg_m3": density},
        "mutual_orbit": {
            "separation_m": distance_m,
            "period_h": period_h,
            "eccentricity": chance.choice((0.0, 0.0, 1e-12, 0.01, 0.15)),
        },
        "simulation": {
            "days_before": days,
            "days_after": days,
            "sample_minutes": min(1e5, max(0.001, period_h * 60.0 / 40.0)),
        },
    }
    if chance.random() < 0.5:
        speed_mm_s = 1e3 * 2.0 * math.pi * distance_m / (period_h * 3600.0)
        size = speed_mm_s * chance.choice((0.0, 1e-9, 1e-4, 1e-2, 0.3, 2.0))
        found["velocity_change"] = {
            f"{chance.choice(('along_track', 'radial', 'normal'))}_mm_s": min(1e5, size) * chance.choice((1, -1))
        }
    else:
        found["impactor"] = {
            "mass_kg": chance.choice((0.001, 1.0, 500.0, 1e9)),
            "speed_km_s": chance.choice((0.01, 5.0, 100.0)),
            "direction": {
                "along_track": chance.choice((-1.0, 1.0)),
                "radial": chance.choice((0.0, 0.2)),
                "normal": 0.1,
            },
        }
        found["momentum_transfer"] = {"beta": chance.choice((0.0, 1.0, 3.0, 100.0))}
    return found


def wrong_with(found: Prediction) -> str:
    """What cannot be in a prediction; empty if nothing."""
    numbers = found.numbers()
    for name, value in numbers.items():
        if isinstance(value, float) and not math.isfinite(value):
            return f"{name} is {value}"
    if found.status not in ("completed", "no_impact"):
        return ""
    limit = DRIFT + ROUNDING * _spins_over_orbit(found)
    for name in ("relative_energy_error", "relative_angular_momentum_error"):
        if numbers[name] is not None and not numbers[name] < limit:
            return f"{name} is {numbers[name]:.1e}, allowed is {limit:.1e}"
    before, after = numbers["period_before_h"], numbers["period_after_h"]
    if not (before and before > 0.0):
        return f"the period before is {before}"
    if after is not None and after <= 0.0:
        return f"the period after is {after}"
    if after is not None and not 0.0 <= numbers["eccentricity_after"] < 1.0:
        return f"the eccentricity after is {numbers['eccentricity_after']}"
    asked = found.scenario.mutual_orbit.period_h
    if abs(found.start.period_h / asked - 1.0) > PERIOD:
        return f"the start has a period of {found.start.period_h} h, {asked} h are asked for"
    return _against_kepler(found, numbers)


def _spins_over_orbit(found: Prediction) -> float:
    """The larger of the two shares, of energy and of angular momentum, that the spins have over the orbit."""
    system, state = found.start.system, found.start.system.state
    bodies = (system.primary, state.rate1_rad_s), (system.secondary, state.rate2_rad_s)
    distance_m, speed_m_s = (float(np.linalg.norm(x)) for x in (state.position_m, state.velocity_m_s))
    one, two = system.primary.mass_kg, system.secondary.mass_kg
    reduced = one * two / (one + two)
    energy = sum(0.5 * float(body.inertia_kg_m2 @ np.square(rate)) for body, rate in bodies)
    momentum = sum(float(np.linalg.norm(body.inertia_kg_m2 * rate)) for body, rate in bodies)
    return max(energy / (G * one * two / 2.0 / distance_m), momentum / (reduced * distance_m * speed_m_s))


def _against_kepler(found: Prediction, numbers: dict) -> str:
    """A velocity change along the track changes the period by 3 P dv/v, with its sign; radial ones by less, all to half
    of it."""
    velocity_change = found.scenario.velocity_change
    if (
        not velocity_change
        or numbers["tumbling"]
        or numbers["period_change_s"] is None
        or numbers["eccentricity_before"] > 0.02
    ):
        return ""
    period_s = numbers["period_before_h"] * 3600.0
    speed = 2e3 * math.pi * numbers["separation_before_m"] / period_s
    share = velocity_change.along_track_mm_s / speed
    expected, change = 3.0 * period_s * share, numbers["period_change_s"]
    if 1e-6 < abs(share) < 1e-3 and abs(change / expected - 1.0) > 0.5 and not numbers["chaotic_after"]:
        return f"the period changes by {change:.4g} s, 3 P dv/v is {expected:.4g} s"
    return ""


def looked_at(wanted: int, most: int = 20_000) -> tuple[Counter, list[str]]:
    """Where so many accepted ones ended, and what is wrong."""
    ends, wrong, number = Counter(), [], 0
    while sum(ends.values()) - ends["refused"] < wanted and number < most:
        number += 1
        try:
            scenario = Scenario.from_dict(data(number), f"edge {number}")
        except InputError:
            ends["refused"] += 1
            continue
        try:
            found = predict(scenario)
        except BinarydynError as error:
            ends[f"refused by {type(error).__name__}"] += 1
            continue
        except Exception as error:
            ends["failed"] += 1
            wrong.append(f"edge {number}: {type(error).__name__}: {error}")
            continue
        ends[found.status] += 1
        if why := wrong_with(found):
            wrong.append(f"edge {number}: {why}")
    return ends, wrong
