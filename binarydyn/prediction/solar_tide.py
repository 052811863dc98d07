"""What the Sun's tide is worth to a period and its change, in closed form, whether it is switched on or not.

Averaged over a circular orbit of mean motion n it lengthens the period by the share (N/n)^2 (1 - 3 s^2), where
N^2 = GM_sun / D^3 at the distance D and s is the sine of the Sun's elevation above the orbit's plane: in seconds as
P^3 / D^3.  A month under a Sun in its plane is longer by (N/n)^2 of itself (Murray & Dermott 1999, ch. 6).
Against runs: to a tenth where the Sun's distance or elevation changes between the windows; of what is left where it
does not, a share of the order of the period change itself (tests/test_perturbations.py).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..constants import DAY_S
from ..dynamics import SolarTide
from ..epochs import roughly_seconds_since
from ..impact.frame import ecliptic_axes
from ..kepler import position_velocity
from ..observables.averages import slope, squared_hann
from ..scenario import Scenario
from ..scenario.tables.heliocentric import elements_after, elements_of
from ..scenario.wording import rounded

_STEPS_A_DAY = 8
"""At which the Sun is looked for: it moves by 2 deg meanwhile at 0.2 au, by a tenth of that at 1 au."""
_WORST = 2.0
"""|1 - 3 s^2| of a Sun at the orbit's pole."""


@dataclass(frozen=True)
class TideSize:
    """By how much the Sun's tide lengthens the period, s, in the windows before t0 and after it.

    is_bound: date or pole are not known, so that both are what it can be at most, at the perihelion.
    """

    before_s: float
    after_s: float
    is_bound: bool = False

    @property
    def change_s(self) -> float:
        """What it adds to the period change of a system that is calibrated to its period before t0."""
        return max(self.before_s, self.after_s) if self.is_bound else self.after_s - self.before_s

    @property
    def largest_s(self) -> float:
        """The largest size among them."""
        return max(abs(self.before_s), abs(self.after_s), abs(self.change_s))


def tide_of(scenario: Scenario) -> SolarTide | None:
    """The Sun over a scenario's pair, known to a minute of its way; None without orbit, epoch or pole."""
    orbit, epoch = scenario.heliocentric_orbit, scenario.impact_epoch_utc
    if not (orbit and epoch and scenario.mutual_orbit.pole_deg):
        return None
    elements = elements_after(orbit, roughly_seconds_since(orbit.epoch_jd_tdb, epoch))
    return SolarTide(elements, ecliptic_axes(scenario.mutual_orbit))


def tide_size(scenario: Scenario, before_s: float, after_s: float) -> TideSize | None:
    """Of a system whose periods before t0 and after it are known; None where its orbit about the Sun is not."""
    orbit, how = scenario.heliocentric_orbit, scenario.simulation
    if orbit is None:
        return None
    tide = tide_of(scenario)
    if tide is None:
        nearest = SolarTide(elements_of(orbit), np.eye(3))
        return TideSize(at_most_s(nearest, before_s), at_most_s(nearest, after_s), is_bound=True)
    before = _over_window_s(tide, before_s, -how.days_before)
    return TideSize(before, _over_window_s(tide, after_s, how.days_after))


def left_out(
    scenario: Scenario, before_s: float, after_s: float, error_s: float, whose: str = "error"
) -> tuple[str, ...]:
    """One sentence where the tide is off and worth more than an error of the period change; whose: its name."""
    size = None if scenario.perturbations.solar_tide == "on" else tide_size(scenario, before_s, after_s)
    if size is None or not size.largest_s > error_s:
        return ()
    end = f"in closed form, more than the {whose} of {error_s:.2g} s"
    if size.is_bound:
        return (
            f"the Sun's tide is left out: up to {rounded(size.largest_s, 2)} s of the period at perihelion, {end}; "
            'give impact_epoch_utc and the orbit\'s pole, and perturbations.solar_tide = "on"',
        )
    before, after, change = (rounded(x, 2, "+") for x in (size.before_s, size.after_s, size.change_s))
    return (
        f"the Sun's tide is left out: {before} s of the period before and {after} s after the impact, {change} s of "
        f'the change, {end}; perturbations.solar_tide = "on" counts it',
    )


def at_most_s(tide: SolarTide, period_s: float) -> float:
    """Size of what the Sun does to a period at the perihelion, from the orbit's pole, where it shortens it most."""
    return _WORST * _lengthened_s(tide.perihelion_strength_s2, period_s)


def _lengthened_s(strength_s2, period_s: float):
    """P (N/n)^2 for a Sun in the orbit's plane, s; strength N^2 (...)."""
    return period_s * strength_s2 * (period_s / (2.0 * math.pi)) ** 2


def _over_window_s(tide: SolarTide, period_s: float, days: float) -> float:
    """Lengthening of the mean period of `days` from t0, as a fit of the longitude under a squared Hann window sees it.

    The longitude falls behind by the integral of the share.
    """
    count = max(2 * _STEPS_A_DAY, math.ceil(_STEPS_A_DAY * abs(days)))
    time = np.linspace(min(0.0, days), max(0.0, days), count + 1) * DAY_S
    place, _ = position_velocity(tide.elements, time, tide.gm_m3_s2)
    distance = np.linalg.norm(place, axis=1)
    above = place @ tide.axes[2] / distance
    rate = _lengthened_s(tide.strength_s2(distance), period_s) * (1.0 - 3.0 * above**2)
    behind = np.append(0.0, np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(time)))
    return slope(time, behind, squared_hann(time))
