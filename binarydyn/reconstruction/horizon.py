"""How far after the impact the full motion can be held against data: where neighbouring trajectories part.

Beyond it the likelihood of an exact model is needle sharp and false: what no model knows of the bodies has grown to
whole turns of the secondary's attitude, and the times with it.
"""

from __future__ import annotations

import numpy as np

from ..constants import DAY_S
from ..dynamics.displacement import displaced
from ..observables.chaos import NEIGHBOURS, growth_between, is_chaotic, move_beside
from .runs import GuessedMotion, Runs, stretch_of

REGULAR_GROWTH = 25.0
"""Of the distance of neighbouring trajectories: in 60 days regular motion of two invented pairs makes so much."""
_BLOCK = 128


def horizon_s(motion: GuessedMotion, u: np.ndarray) -> float:
    """When neighbouring trajectories of the motion with unknowns u (p,) part after t0; inf where it is regular over the
    days of the data, 0 where it does not last."""
    runs = motion.runs(u[None])
    if not runs.lasts[0]:
        return 0.0
    growth = _growth(motion, runs)[0]
    if not is_chaotic(np.nanmax(growth), _days(runs)):
        return float("inf")
    return float(runs.after.time_s[np.argmax(~(growth <= REGULAR_GROWTH))])


def chaotic(motion: GuessedMotion, u: np.ndarray) -> np.ndarray:
    """(n,) whether the motions with unknowns u (n, p) are, over the days of the data after t0; False where one does not
    last."""
    found = np.zeros(len(u), dtype=bool)
    for first in range(0, len(u), _BLOCK):
        runs = motion.runs(u[first : first + _BLOCK])
        growth = _growth(motion, runs).max(axis=1)
        found[first : first + _BLOCK] = runs.lasts & (is_chaotic(growth, _days(runs)) | np.isnan(growth))
    return found


def _days(runs: Runs) -> float:
    return float(runs.after.time_s[-1]) / DAY_S


def _growth(motion: GuessedMotion, runs: Runs) -> np.ndarray:
    """(n, steps + 1) by how much farther apart the farthest neighbour is than at t0; nan where one ends early."""
    step, steps = runs.after.step_s, runs.after.samples.shape[1] - 1
    growth = np.zeros((len(runs.why), steps + 1))
    for k in range(NEIGHBOURS):
        y = displaced(runs.y_after, move_beside(runs.y_after, k))
        beside = stretch_of(runs.starts, y, step, steps, runs.lasts, motion.workers)
        for i in np.flatnonzero(runs.lasts):
            growth[i] = np.maximum(growth[i], growth_between(runs.after.samples[i].T, beside.samples[i].T))
    return growth
