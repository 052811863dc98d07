"""Light as photometers would measure it: nights of points with zero points, white and red noise, of a simulated pair.

The light is the sum over facets of sky/light_curve.py, which shares no formula with the fast brightness of photometry/.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..errors import ArgumentError
from ..impact import impact_on
from ..photometry.measured_light import SIGMA_MAG, MeasuredLight
from ..photometry.red_noise import red_noise
from ..relaxed.start import start
from ..scenario import Scenario
from ..scenario.tables.sampling import check_seed
from ..sky.geometry import Sight, Sky, altitudes_deg
from ..sky.light_curve import LightCurve, light_curve_of
from ..timing.mid_times import nights_of
from .light_curve import LIMITS, MOST_EPOCHS, Surface, joined_curves, runs_about
from .nights import first_midnight_s

_MARGIN_S = 7200.0


@dataclass(frozen=True)
class Photometer:
    """How the points come about: one every step_minutes through one filter after the other, with white noise noise_mag,
    red noise of standard deviation red_noise_mag that is forgotten by 1/e in red_noise_minutes, and a zero point of
    standard deviation zero_point_mag for each night and filter."""

    step_minutes: float = 2.0
    noise_mag: float = 0.01
    red_noise_mag: float = 0.0
    red_noise_minutes: float = 30.0
    zero_point_mag: float = 0.05
    filters: tuple[str, ...] = ("clear",)

    def __post_init__(self):
        limits = {
            "step_minutes": LIMITS["step_minutes"],
            "noise_mag": SIGMA_MAG,
            "red_noise_mag": (0.0, SIGMA_MAG[1]),
            "red_noise_minutes": (0.1, 1e4),
            "zero_point_mag": (0.0, 10.0),
        }
        for name, (low, high) in limits.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise ArgumentError(name, f"{value:g} is given, allowed is {low:g} .. {high:g}; change it")
        if not self.filters or not all(name.strip() for name in self.filters):
            raise ArgumentError("filters", "a name is empty, one or more names are allowed; name each filter")


def synthesised_light(
    scenario: Scenario, from_days: float, days: float, how: Photometer, surface: Surface, seed: int
) -> MeasuredLight:
    """Points in those parts of the nights of [campaign] that lie from from_days to from_days + days from t0.

    InputError for numbers that are not allowed, and where no point is left.
    """
    check_seed(seed)
    for name, value in (("from_days", from_days), ("days", days)):
        low, high = LIMITS[name]
        if not low <= value <= high:
            raise ArgumentError(name, f"{value:g} is given, allowed is {low:g} .. {high:g}; change it")
    sky, first_s = Sky.of(scenario), from_days * DAY_S
    sight = Sight(sky, first_s - _MARGIN_S - 1.2 * sky.light_time_s, first_s + days * DAY_S + _MARGIN_S)
    seen, night = _epochs(scenario, sky, first_s, first_s + days * DAY_S, how.step_minutes)
    curve = _exact(scenario, sky, sight.left_s(seen), surface)
    there = np.isin(sight.left_s(seen), curve.time_s)
    return _measured(curve, night[there], how, np.random.default_rng(seed))


def _epochs(
    scenario: Scenario, sky: Sky, first_s: float, last_s: float, step_minutes: float
) -> tuple[np.ndarray, np.ndarray]:
    """(m,) when points are taken, s from t0 on the observer's clock, and the number of the night of each."""
    campaign, midnight, step = scenario.campaign, first_midnight_s(scenario, sky), step_minutes * 60.0
    if (last_s - first_s) / step * campaign.night_h / 24.0 > MOST_EPOCHS:
        raise ArgumentError(
            "step_minutes",
            f"{step_minutes:g} minutes make more than {MOST_EPOCHS} points, so many are allowed; take longer steps",
        )
    time = np.arange(first_s, last_s, step)
    night = nights_of(time, midnight)
    shown = np.abs(time - midnight - night * DAY_S) <= 0.5 * campaign.night_h * HOUR_S
    if sky.site and shown.any():
        sun, pair = altitudes_deg(sky, time[shown])
        shown[shown] = (sun < campaign.sun_below_deg) & (pair > campaign.system_above_deg)
    if not shown.any():
        raise ArgumentError("days", "no night of [campaign] shows the system then, one is needed; take more days")
    return time[shown], night[shown]


def _exact(scenario: Scenario, sky: Sky, time_s: np.ndarray, surface: Surface) -> LightCurve:
    """Of the instants (m,) at the system that the runs about the impact reach."""
    begun = start(scenario)
    impact, pieces = impact_on(begun.system, scenario), []
    for run in runs_about(scenario, begun, impact, time_s):
        there = (time_s >= run.time_s[0]) & (time_s <= run.time_s[-1]) & ((time_s < 0.0) == (run.time_s[0] < 0.0))
        if there.any():
            how = (surface.law, surface.phase_law, surface.facets, (1.0, surface.albedo_ratio))
            pieces.append(light_curve_of(run, sky, time_s[there], *how))
    if not pieces:
        raise ArgumentError("from_days", "the run ends before the first night, a point is needed; begin earlier")
    return joined_curves(pieces)


def _measured(curve: LightCurve, night: np.ndarray, how: Photometer, random: np.random.Generator) -> MeasuredLight:
    count = len(night)
    filters = np.array(how.filters)[np.arange(count) % len(how.filters)]
    light = MeasuredLight(
        curve.time_s,
        curve.magnitude,
        np.full(count, how.noise_mag),
        filters,
        np.full(count, ""),
        night.astype(str),
    )
    zero = how.zero_point_mag * random.standard_normal(light.zero_point.max() + 1)
    red = red_noise(curve.time_s, light.run, how.red_noise_mag, 60.0 * how.red_noise_minutes, random)
    white = how.noise_mag * random.standard_normal(count)
    return light.moved(zero[light.zero_point] + red + white)
