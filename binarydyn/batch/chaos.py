"""How far each of many cases can be trusted: neighbouring trajectories that start a hair beside it, in lanes or on a
GPU.

The four neighbouring trajectories of observables.chaos, for arrays of cases.  Distances are those at the end of the
window, so nothing is stored on the way; they cost four more runs a case.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..columns import dot
from ..motion.layout import ATTITUDE2, INVERSE, POSITION, VELOCITY
from ..observables.chaos import TWIST_RAD, attitude_angle
from ..vectors import quaternion_of_turn
from .cases import Cases, Outcomes, accumulated, started


@dataclass(frozen=True)
class Beside:
    """What neighbouring trajectories say of n cases; arrays (n,).

    growth: of the distance of the farthest at the end of the window; inf where it is not known.  period_spread_s:
    standard deviation of the period over the run and its neighbouring trajectories; nan where one of them does not fit.
    """

    growth: np.ndarray
    period_spread_s: np.ndarray


def neighbours(given: Cases) -> list[Cases]:
    """The four cases beside each: the secondary twisted about each of its axes, and moved along its track."""
    return [_twisted(given, axis) for axis in range(3)] + [_moved(given)]


def with_neighbours(
    given: Cases, days: float, steps: int | np.ndarray | None = None, stepper: Callable[..., Outcomes] = accumulated
) -> tuple[Outcomes, Beside]:
    """Outcomes, the same bits as without neighbouring trajectories, and what these say, which make as many steps as
    their case.

    stepper: cases.accumulated or gpu.accumulated.
    """
    steps = given.steps(days) if steps is None else steps
    outcomes = stepper(given, days, steps)
    others = [stepper(beside, days, steps) for beside in neighbours(given)]
    growth = np.max([_growth(outcomes.state, other.state) for other in others], axis=0)
    periods = np.array([np.where(one.fits, one.period_s, np.nan) for one in (outcomes, *others)])
    return outcomes, Beside(np.where(np.isfinite(growth), growth, np.inf), periods.std(axis=0, ddof=1))


def _twisted(given: Cases, axis: int) -> Cases:
    columns = given.columns.copy()
    e = np.eye(3)[axis]
    turn = quaternion_of_turn(*(TWIST_RAD * e))
    w, v = given.columns[13], given.columns[14:17]
    columns[ATTITUDE2] *= turn[0]
    columns[13] -= turn[1 + axis] * v[axis]
    columns[14:17] += turn[1 + axis] * (np.multiply.outer(e, w) + np.cross(v, e[:, None], axis=0))
    return replace(given, columns=started(columns))


def _moved(given: Cases) -> Cases:
    columns = given.columns.copy()
    r, v = given.columns[POSITION], given.columns[VELOCITY]
    along = np.cross(np.cross(r, v, axis=0), r, axis=0)
    distance = 1.0 / given.columns[INVERSE]
    columns[:3] += along * (TWIST_RAD * distance / np.sqrt(dot(along, along)))
    return replace(given, columns=started(columns))


def _growth(state: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(n,) angle between runs at their ends (20, n), of attitude or direction, over the angle at the start."""
    with np.errstate(all="ignore"):
        r, s = (y[POSITION] / np.linalg.norm(y[POSITION], axis=0) for y in (state, other))
        p, q = (y[ATTITUDE2] / np.linalg.norm(y[ATTITUDE2], axis=0) for y in (state, other))
        growth = np.maximum(np.linalg.norm(r - s, axis=0), attitude_angle(p, q, axis=0)) / TWIST_RAD
    return np.where(np.isnan(growth), np.inf, growth)
