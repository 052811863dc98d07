"""Short runs of equal steps without error control, in lanes: smooth functions of their starts, for Newton's method."""

from __future__ import annotations

import math
from functools import cache

import numba
import numpy as np

from .._jit import entry_points, kernel, wide_vectors
from ..integrators import lanes
from ..integrators.batch import start_slopes
from ..integrators.lanes import CONSTANTS, LANES, PARAMETERS, STEPS, SUMS, TAKEN, aligned, attempt, take_ends
from ..motion.layout import SIZE

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
def march(model, w, y, constants, coefficients, time, count, ends, means):
    """All columns, eight at a time, each to the end of its own time in `count` steps; arrays as in equal_steps, flat.

    Lanes that are left over repeat the last column.
    """
    model = numba.literally(model)
    columns = time.size
    for first in range(0, columns, LANES):
        for l in range(LANES):
            at = min(first + l, columns - 1)
            for i in range(SIZE):
                w[i * LANES + l] = y[i * columns + at]
            for i in range(CONSTANTS):
                w[(PARAMETERS + i) * LANES + l] = constants[i * columns + at]
            for i in range(coefficients.size):
                w[(PARAMETERS + CONSTANTS + i) * LANES + l] = coefficients[i]
            w[STEPS * LANES + l] = time[at] / count
            w[DISTANCE * LANES + l], w[TAKEN * LANES + l] = 0.0, 1.0
        start_slopes(model, w, (1 << LANES) - 1)
        for _ in range(count):
            add_distances(w)
            attempt(model, w)
            take_ends(model, w)
        for l in range(min(LANES, columns - first)):
            for i in range(SIZE):
                ends[i * columns + first + l] = w[i * LANES + l]
            means[first + l] = w[DISTANCE * LANES + l] / count


@cache
def _entry(number: int):
    arguments = "w, y, constants, coefficients, time, count, ends, means"
    return entry_points("equal_steps_model", number, "dynamics.equal_steps", march=arguments)


def equal_steps(
    number: int, y: np.ndarray, constants: np.ndarray, coefficients: np.ndarray, time_s: np.ndarray, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """States (20, m) after times (m,) in `count` equal steps from y (20, m), and the means of |r| over their starts.

    constants (19, m) and coefficients (c,) as of motion.parameters, for the gravity model of that number.  What a
    column gives depends on it and `count` alone.
    """
    ends, means = np.empty_like(y, order="C"), np.empty(y.shape[1])
    flat = [np.ascontiguousarray(part, dtype=float).ravel() for part in (y, constants, coefficients, time_s)]
    _entry(number).march(aligned(lanes.work_size(number)), *flat, count, ends.reshape(-1), means)
    return ends, means
