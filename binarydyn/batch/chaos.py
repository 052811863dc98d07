"""How far each of many cases can be trusted: neighbouring trajectories that start a hair beside it, in lanes or on a
GPU.

The four neighbouring trajectories of observables.chaos, for arrays of cases.  Distances are those at the end of the
window, so nothing is stored on the way; they cost four more runs a case.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..dynamics.displacement import displaced
from ..observables.chaos import NEIGHBOURS, growth_between, move_beside
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
    """The four cases beside each."""
    columns = given.columns
    moved = (displaced(columns, move_beside(columns, number)) for number in range(NEIGHBOURS))
    return [replace(given, columns=started(each)) for each in moved]


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
    with np.errstate(all="ignore"):
        growth = np.max([growth_between(outcomes.state, other.state) for other in others], axis=0)
    periods = np.array([np.where(one.fits, one.period_s, np.nan) for one in (outcomes, *others)])
    return outcomes, Beside(np.where(np.isfinite(growth), growth, np.inf), periods.std(axis=0, ddof=1))
