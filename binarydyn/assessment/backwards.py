"""Backwards: the push, or the shape of the moonlet, that gives what was measured, by solving the simulation for it."""

from __future__ import annotations

from collections.abc import Callable

from ..errors import BinarydynError, ConvergenceError, InputError
from ..scenario import Scenario, varied
from .predict import predict

CHANGE_TOLERANCE_S = 1e-3
"""To which a simulated period change repeats the measured one; measured ones have errors of a second at best."""
RATIO_TOLERANCE = 1e-4
"""Of an axis ratio; the best published ones have two digits."""
RATIO_RANGE = (1.05, 1.4)
"""a/b of the moonlet between which a precession selects one: the rate falls steadily there (nearer to 1 it hardly
changes; above, the libration is in resonance with the orbit)."""
_ROUNDS = 12


class NoNumberError(BinarydynError):
    """A run ended, in the way the sentence names, before the number that was asked for could be measured."""


def push_for_change(scenario: Scenario, change_s: float) -> float:
    """Along-track push, mm/s, that changes the simulated period by `change_s`; other components as in the scenario.

    The secant method, from the scenario's own push.  InputError without one, ConvergenceError where it does not end.
    """
    if scenario.push is None or scenario.push.along_track_mm_s == 0.0:
        raise InputError(f"{scenario.place}:push.along_track_mm_s", "no push is given to start from; write a guess")

    def miss(push_mm_s: float) -> float:
        return period_change_s(varied(scenario, {"push.along_track_mm_s": push_mm_s})) - change_s

    old = scenario.push.along_track_mm_s
    off_old = miss(old)
    if abs(off_old) < CHANGE_TOLERANCE_S:
        return old
    new = old * change_s / (off_old + change_s)
    for _ in range(_ROUNDS):
        off_new = miss(new)
        if abs(off_new) < CHANGE_TOLERANCE_S:
            return new
        old, off_old, new = new, off_new, new - off_new * (new - old) / (off_new - off_old)
    raise ConvergenceError("no push gives the measured period change", abs(off_new), _ROUNDS)


def period_change_s(scenario: Scenario) -> float:
    """Simulated period change; NoNumberError where it could not be measured."""
    result = predict(scenario)
    if result.period_change_s is None:
        raise NoNumberError(f"there is no period change, the run ends in {result.status}")
    return result.period_change_s


def precession_at_ratio(scenario: Scenario, ratio: float) -> float:
    """Apsidal precession after the impact, deg/day, if the moonlet had a/b = ratio at the same a/c and volume."""
    a, b, c = scenario.secondary.semi_axes_m
    long = (a * b * c * ratio * a / c) ** (1 / 3)
    axes = (long, long / ratio, long * c / a)
    result = predict(varied(scenario, {f"secondary.semi_axes_m.{i}": axis for i, axis in enumerate(axes)}))
    rate = result.numbers()["precession_after_deg_day"]
    if rate is None:
        raise NoNumberError(f"there is no precession at a/b = {ratio:g}, the run ends in {result.status}")
    return rate


def ratio_for_precession(scenario: Scenario, rate_deg_day: float) -> float:
    """a/b of the moonlet, within RATIO_RANGE, with which the pericentre turns at the measured rate after the impact.

    ConvergenceError where no ratio in the range does.
    """

    def miss(ratio: float) -> float:
        return precession_at_ratio(scenario, ratio) - rate_deg_day

    return _bracketed(miss, RATIO_RANGE, f"no a/b in {RATIO_RANGE} gives {rate_deg_day:g} deg/day")


def _bracketed(miss: Callable[[float], float], limits: tuple[float, float], sentence: str) -> float:
    from scipy.optimize import brentq

    ends = [miss(limit) for limit in limits]
    if ends[0] * ends[1] > 0.0:
        raise ConvergenceError(sentence, min(map(abs, ends)), 2)
    return float(brentq(miss, *limits, xtol=RATIO_TOLERANCE))
