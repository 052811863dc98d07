"""Short runs of equal steps without error control, in lanes: smooth functions of their starts, for Newton's method."""

from __future__ import annotations

import math
from functools import cache

import numba
import numpy as np

from .._jit import entry_points, kernel, wide_vectors
from . import lanes
from .batch import start_slopes
from .lanes import CONSTANTS, LANES, PARAMETERS, STEPS, SUMS, TAKEN, aligned, attempt, take_ends
from .stepper import SIZE

DISTANCE = SUMS + 19
"""Row: sum of |r| over the starts of a lane's steps."""


@kernel
def add_distances(w):
    """Add |r| of each lane to its sum."""
    wide_vectors()
    for l in range(LANES):
        x, y, z = w[l], w[LANES + l], w[2 * LANES + l]
        w[DISTANCE * LANES + l] += math.sqrt(x * x + y * y + z * z)


@kernel
def march(model, w, count):
    """Make `count` steps in every lane, each of its own length."""
    model = numba.literally(model)
    start_slopes(model, w, (1 << LANES) - 1)
    for _ in range(count):
        add_distances(w)
        attempt(model, w)
        take_ends(model, w)


@cache
def _entry(number: int):
    return entry_points("equal_steps_model", number, "dynamics.equal_steps", march="w, count")


def equal_steps(
    number: int, y: np.ndarray, constants: np.ndarray, coefficients: np.ndarray, time_s: np.ndarray, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """States (20, m) after times (m,) in `count` equal steps from y (20, m), and the means of |r| over their starts.

    constants (19, m) and coefficients (c,) as of motion.parameters, for the gravity model of that number.
    """
    ends, means = np.empty_like(y), np.empty(y.shape[1])
    work = aligned(lanes.work_size(number))
    rows = work.reshape(-1, LANES)
    for first in range(0, y.shape[1], LANES):
        some = slice(first, min(first + LANES, y.shape[1]))
        width = some.stop - first
        rows[:PARAMETERS] = 0.0
        rows[:SIZE] = y[:, first : first + 1]  # idle lanes repeat the first
        rows[PARAMETERS : PARAMETERS + CONSTANTS] = constants[:, first : first + 1]
        rows[PARAMETERS + CONSTANTS :] = coefficients[:, None]
        rows[STEPS] = time_s[first] / count
        rows[:SIZE, :width], rows[PARAMETERS : PARAMETERS + CONSTANTS, :width] = y[:, some], constants[:, some]
        rows[STEPS, :width] = time_s[some] / count
        rows[TAKEN] = 1.0
        _entry(number).march(work, count)
        ends[:, some], means[some] = rows[:SIZE, :width], rows[DISTANCE, :width] / count
    return ends, means
