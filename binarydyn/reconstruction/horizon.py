"""How far after the impact the full motion can be held against data: where neighbouring trajectories part.

Beyond it the likelihood of an exact model is needle sharp and false: what no model knows of the bodies has grown to
whole turns of the secondary's attitude, and the times with it.
"""

from __future__ import annotations

import numpy as np

from ..constants import DAY_S
from ..dynamics.displacement import displaced
from ..observables.chaos import NEIGHBOURS, growth_between, is_chaotic, move_beside
from .runs import GuessedMotion, stretch_of

REGULAR_GROWTH = 25.0
"""Of the distance of neighbouring trajectories: in 60 days regular motion of two invented pairs makes so much."""


def horizon_s(motion: GuessedMotion, u: np.ndarray) -> float:
    """When neighbouring trajectories of the motion with unknowns u (p,) part after t0; inf where it is regular over the
    days of the data, 0 where it does not last."""
    runs = motion.runs(np.repeat(u[None], 1 + NEIGHBOURS, axis=0))
    if not runs.lasts[0]:
        return 0.0
    y = runs.y_after.copy()
    for k in range(NEIGHBOURS):
        y[:, 1 + k] = displaced(y[:, :1], move_beside(y[:, :1], k))[:, 0]
    step, steps = runs.after.step_s, runs.after.samples.shape[1] - 1
    window = stretch_of(runs.starts, y, step, steps, np.ones(y.shape[1], dtype=bool), motion.workers)
    here = window.samples[0].T
    growth = np.max([growth_between(here, other.T) for other in window.samples[1:]], axis=0)
    if not is_chaotic(np.nanmax(growth), step * steps / DAY_S):
        return float("inf")
    return float(window.time_s[np.argmax(~(growth <= REGULAR_GROWTH))])
