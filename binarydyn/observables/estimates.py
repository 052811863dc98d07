"""The mutual-orbit period of a trajectory: the table of estimators and what each says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from ..errors import FewCyclesError, InputError
from ..kinds import as_shown, shape, takes
from ..motion.trajectory import Trajectory
from . import estimators
from .window import Window, window

CYCLES_NEEDED = 5
DEFAULT_METHOD = "weighted_fit"


@dataclass(frozen=True)
class Estimate:
    """Mean sidereal period over a window, its error (how, says the estimator), the turns of r in it, and the method."""

    value_h: float
    sigma_s: float
    cycles: float
    method: str

    @property
    def value_s(self) -> float:
        """The same period, s."""
        return self.value_h * HOUR_S


@dataclass(frozen=True)
class Method:
    """One row of METHODS: two functions of a Window that return seconds, one line about it, where it comes from."""

    value: Callable[[Window], float]
    sigma: Callable[[Window], float]
    description: str
    source: str


METHODS: dict[str, Method] = {
    "weighted_fit": Method(
        estimators.weighted_fit,
        estimators.sigma_from_parts(estimators.weighted_fit),
        "linear fit of the unwrapped longitude weighted with a squared Hann window",
        "common practice",
    ),
    "longitude_slope": Method(
        estimators.longitude_slope,
        estimators.sigma_from_parts(estimators.longitude_slope),
        "plain linear fit of the unwrapped longitude",
        "common practice",
    ),
    "crossings": Method(
        estimators.crossings,
        estimators.sigma_crossings,
        "mean spacing of the passages of a fixed inertial direction",
        "common practice",
    ),
    "frequency": Method(
        estimators.frequency,
        estimators.sigma_from_parts(estimators.frequency),
        "main rate of the direction of r by Hann-weighted frequency analysis",
        "Laskar 1990, Icarus 88, 266, doi 10.1016/0019-1035(90)90084-M",
    ),
    "osculating": Method(
        estimators.osculating,
        estimators.sigma_osculating,
        "Kepler period of the time-averaged osculating semi-major axis; biased for bodies that are no spheres",
        "common practice",
    ),
    "third_law_j2": Method(
        estimators.third_law_j2,
        estimators.sigma_third_law_j2,
        "third law of a circular equatorial orbit about an oblate primary at the mean separation",
        "Murray & Dermott 1999, Solar System Dynamics, ch. 6",
    ),
}


@takes(trajectory="Trajectory", method=str, normal=(None, shape(3)))
def period(trajectory: Trajectory, method: str = DEFAULT_METHOD, normal: np.ndarray | None = None) -> Estimate:
    """Mean sidereal period over the window of a trajectory.

    That is 2 pi over the mean rate of the angle, from a fixed inertial direction, of r projected on the orbital plane
    at the window's start (r x v at the first sample in time; or the plane of the given normal (3,), inertial frame).
    Errors: FewCyclesError below 5 cycles (it carries the value); InputError for an unknown method or unusable samples.
    """
    if method not in METHODS:
        raise InputError("estimator", f"{as_shown(method)} is not known; choose one of {', '.join(METHODS)}")
    return _estimate(window(trajectory, normal), method)


@takes(trajectory="Trajectory", normal=(None, shape(3)))
def periods(trajectory: Trajectory, normal: np.ndarray | None = None) -> dict[str, Estimate]:
    """What each of METHODS says about the same window; arguments and errors as for `period`."""
    view = window(trajectory, normal)
    return {method: _estimate(view, method) for method in METHODS}


def _estimate(view: Window, method: str) -> Estimate:
    value_h = METHODS[method].value(view) / HOUR_S
    if view.cycles < CYCLES_NEEDED:
        raise FewCyclesError(method, view.cycles, CYCLES_NEEDED, value_h)
    return Estimate(value_h, METHODS[method].sigma(view), view.cycles, method)


@takes(trajectory="Trajectory", normal=(None, shape(3)))
def passage_times(trajectory: Trajectory, normal: np.ndarray | None = None) -> np.ndarray:
    """Times (m + 1,), s from t0, at which r passes the direction that it has at the first sample, the first of them.

    Errors: FewCyclesError without a whole cycle; InputError as for `period`.
    """
    view = window(trajectory, normal)
    times = estimators.passage_times(view)
    if len(times) < 2:
        raise FewCyclesError("passage_times", view.cycles, 1, estimators.crossings(view) / HOUR_S)
    return times


@takes(trajectory="Trajectory", normal=(None, shape(3)))
def single_orbit_periods(trajectory: Trajectory, normal: np.ndarray | None = None) -> np.ndarray:
    """Single-cycle periods (m,), s: the spacings of `passage_times`, with its errors; their spread is `.std()`."""
    return np.diff(passage_times(trajectory, normal))
