"""Backwards: the velocity change, or the shape of the secondary, that gives what was measured, by solving the
simulation for it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from ..errors import BinarydynError, ConvergenceError, InputError
from ..kinds import sure
from ..prediction.predict import predict
from ..scenario import Reshaping, Scenario, value_of, varied

CHANGE_TOLERANCE_S = 1e-3
"""To which a simulated period change repeats the measured one; measured ones have errors of a second at best."""
RATIO_TOLERANCE = 1e-4
"""Of an axis ratio; the best published ones have two digits."""
RATIO_RANGE = (1.05, 1.4)
"""a/b of the secondary between which a precession selects one: the rate falls steadily there (nearer to 1 it hardly
changes; above, the libration is in resonance with the orbit)."""
SHAPE_RANGE = (1.4, 3.0)
"""a/c of the secondary between which a reshaping selects one."""
_ROUNDS = 12
_UNSAID = {"sampling": None, "input_sigma": None}
"""What may speak of keys that are taken away."""
_HIT = ("velocity_change", "impactor", "momentum_transfer", "boulders", "mass_exchange")
_NO_PUSH = _UNSAID | dict.fromkeys(_HIT)


class NoNumberError(BinarydynError):
    """A run ended, in the way the sentence names, before the number that was asked for could be measured."""


def dv_for_change(scenario: Scenario, change_s: float) -> float:
    """Along-track velocity change, mm/s, that changes the simulated period by `change_s`; other components as in the
    scenario.

    The secant method, from the scenario's own velocity change.  InputError without one, ConvergenceError where it does
    not end.
    """
    if scenario.velocity_change is None or scenario.velocity_change.along_track_mm_s == 0.0:
        raise InputError(
            f"{scenario.place}:velocity_change.along_track_mm_s",
            "no velocity change is given to start from; write a guess",
        )
    return _solved(scenario, "velocity_change.along_track_mm_s", change_s)


def beta_for_change(scenario: Scenario, change_s: float) -> float:
    """Momentum enhancement with which the simulated period changes by `change_s`; the rest as in the scenario.

    InputError without an impactor or with a material, ConvergenceError where none does.
    """
    if scenario.impactor is None or scenario.momentum_transfer.material:
        raise InputError(f"{scenario.place}:momentum_transfer.beta", "an impactor and a beta to start from are needed")
    return _solved(scenario, "momentum_transfer.beta", change_s)


def _solved(scenario: Scenario, key: str, change_s: float) -> float:
    """The value of a key that gives the period change, by the secant method from the scenario's own."""
    from scipy.optimize import root_scalar

    @cache
    def miss(value: float) -> float:
        """0 where it is small enough, which ends the search."""
        off = period_change_s(varied(scenario, {key: value})) - change_s
        return off if abs(off) > CHANGE_TOLERANCE_S else 0.0

    old = value_of(scenario, key)
    if miss(old) == 0.0:
        return old
    new = old * change_s / (miss(old) + change_s)
    found = root_scalar(miss, method="secant", x0=old, x1=new, xtol=1e-12 * abs(old), maxiter=_ROUNDS)
    if not found.converged:
        raise ConvergenceError(f"no {key} gives the measured period change", abs(miss(found.root)), _ROUNDS)
    return float(found.root)


def period_change_s(scenario: Scenario) -> float:
    """Simulated period change; NoNumberError where it could not be measured."""
    result = predict(scenario)
    if result.period_change_s is None:
        raise NoNumberError(f"there is no period change, the run ends in {result.status}")
    return result.period_change_s


def reshaping_at_ratio(scenario: Scenario, ratio: float) -> float:
    """Period change, s, without a velocity change if the secondary's new shape had a/c = ratio at its a/b and the old
    volume."""
    reshaping = sure(scenario.reshaping)
    a, b, _ = sure(reshaping.secondary_semi_axes_m)
    new = reshaping.model_copy(update={"secondary_semi_axes_m": (a, b, a / ratio), "volume": "kept"})
    return reshaping_alone_s(scenario.replace(_UNSAID | {"reshaping": new}))


def primary_flattening_s(scenario: Scenario, metres: float) -> float:
    """Period change, s, without a velocity change if the primary alone became `metres` shorter from pole to centre, at
    its volume.

    The equatorial semi-axes grow by one factor.
    """
    a, b, c = sure(scenario.primary.semi_axes_m)
    wider = (c / (c - metres)) ** 0.5
    new = Reshaping(primary_semi_axes_m=(a * wider, b * wider, c - metres))
    return reshaping_alone_s(scenario.replace(_UNSAID | {"reshaping": new}))


def reshaping_alone_s(scenario: Scenario) -> float:
    """Period change, s, of the scenario's new shapes without anything that pushes."""
    return period_change_s(scenario.replace(_NO_PUSH))


def ratio_for_reshaping(scenario: Scenario, change_s: float) -> float:
    """a/c of the secondary's new shape, within SHAPE_RANGE, whose reshaping alone changes the period by `change_s`."""

    def miss(ratio: float) -> float:
        return reshaping_at_ratio(scenario, ratio) - change_s

    return _bracketed(miss, SHAPE_RANGE, f"no a/c in {SHAPE_RANGE} gives {change_s:g} s")


def precession_at_ratio(scenario: Scenario, ratio: float) -> float:
    """Apsidal precession after the impact, deg/day, if the secondary had a/b = ratio at the same a/c and volume."""
    a, b, c = sure(scenario.secondary.semi_axes_m)
    long = (a * b * c * ratio * a / c) ** (1 / 3)
    axes = (long, long / ratio, long * c / a)
    result = predict(varied(scenario, {f"secondary.semi_axes_m.{i}": axis for i, axis in enumerate(axes)}))
    rate = result.numbers()["apsidal_precession_after_deg_day"]
    if rate is None:
        raise NoNumberError(f"there is no precession at a/b = {ratio:g}, the run ends in {result.status}")
    return float(rate)


def ratio_for_precession(scenario: Scenario, rate_deg_day: float) -> float:
    """a/b of the secondary, within RATIO_RANGE, with which the pericentre turns at the measured rate after the impact.

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
