"""One turn of the primary from the states of pairs and from states beside them: what a search for periodic orbits asks.

Each system runs from its state and, for derivatives, from states displaced along some of the 18 directions of
displacement.py or with another mass factor or rate; after the turn the end is brought back by the orbit's angle and
compared with the beginning, for even pairs with the primary half a turn on.  Steps are equal and their errors not
controlled, so that the result is a smooth function of the state; all of it is compiled, so that threads search side by
side.  What a run gives depends on it and its number of steps alone.
"""

from __future__ import annotations

import math
from functools import cache

import numba
import numpy as np

from .._jit import entry_points, kernel, wide_vectors
from ..integrators import lanes
from ..integrators.batch import start_slopes
from ..integrators.lanes import aligned, attempt, take_ends
from ..motion.equations import GROWING
from ..motion.layout import CONSTANTS, DISTANCE, LANES, PARAMETERS, RUN, SIZE, STEP, TAKEN
from ..vectors import quaternion_product
from .displacement import FREE, displaced

RATE, TIME, PAIR = SIZE, SIZE + 1, SIZE + 2
_KEPT = SIZE + 3
"""Of each lane: the state at its beginning, the orbit's rate, the time, and which pair it is of."""


@kernel
def add_distances(w):
    """Add |r| of each lane to its sum."""
    wide_vectors()
    for l in range(LANES):
        x, y, z = w[l], w[LANES + l], w[2 * LANES + l]
        w[DISTANCE * LANES + l] += math.sqrt(x * x + y * y + z * z)


@kernel
def load(w, kept, l, column, pair, y, logs, spin, constants, coefficients, part, count):
    """Put the run in a column of y (20, ...) and logs (2, ...) into a lane."""
    pairs, columns = spin.size, logs.size // 2
    factor, rate = math.exp(logs[column]), math.exp(logs[columns + column])
    for i in range(SIZE):
        w[i * LANES + l] = y[i * columns + column]
    time = part * math.pi / abs(spin[pair] - rate)
    for i in range(SIZE):
        kept[i * LANES + l] = w[i * LANES + l]
    kept[RATE * LANES + l], kept[TIME * LANES + l], kept[PAIR * LANES + l] = rate, time, pair
    for i in range(CONSTANTS):
        w[(PARAMETERS + i) * LANES + l] = constants[i * pairs + pair]
    for i in GROWING:
        w[(PARAMETERS + i) * LANES + l] *= factor
    for i in range(coefficients.size // pairs):
        w[(PARAMETERS + CONSTANTS + i) * LANES + l] = coefficients[i * pairs + pair]
    w[(RUN + STEP) * LANES + l] = time / count
    w[DISTANCE * LANES + l], w[TAKEN * LANES + l] = 0.0, 1.0


@kernel
def turn_difference(a, b, c, d, p, q, r, s):
    """The small turn that leads from one attitude to another: twice the vector part."""
    w, x, y, z = quaternion_product(a, -b, -c, -d, p, q, r, s)
    sign = 2.0 if w >= 0.0 else -2.0
    return sign * x, sign * y, sign * z


@kernel
def change(w, kept, l, even, sense, out):
    """What the turn has changed in a lane, the 18 of displacement.py, seen in the frame that turned with the orbit."""
    angle = kept[RATE * LANES + l] * kept[TIME * LANES + l]
    c, s, h, g = math.cos(angle), math.sin(angle), math.cos(0.5 * angle), -math.sin(0.5 * angle)
    for i in (0, 3):
        x, y = w[i * LANES + l], w[(i + 1) * LANES + l]
        out[i] = c * x + s * y - kept[i * LANES + l]
        out[i + 1] = c * y - s * x - kept[(i + 1) * LANES + l]
        out[i + 2] = w[(i + 2) * LANES + l] - kept[(i + 2) * LANES + l]
    for body in range(2):
        at, to = (6 + 7 * body) * LANES + l, 6 + 6 * body
        p, q, r, t = w[at], w[at + LANES], w[at + 2 * LANES], w[at + 3 * LANES]
        p, q, r, t = quaternion_product(h, 0.0, 0.0, g, p, q, r, t)
        a, b, d, e = kept[at], kept[at + LANES], kept[at + 2 * LANES], kept[at + 3 * LANES]
        half = even and body == 0
        if half:
            a, b, d, e = quaternion_product(a, b, d, e, 0.0, 0.0, 0.0, sense)
        out[to], out[to + 1], out[to + 2] = turn_difference(a, b, d, e, p, q, r, t)
        for i in range(3):
            before = kept[at + (4 + i) * LANES]
            out[to + 3 + i] = w[at + (4 + i) * LANES] - (-before if half and i < 2 else before)


@kernel
def conditions(w, kept, l, count, found, scale, spin, phase, separation, unknowns, even, rows, values, means, column):
    """What must vanish, to a column of `values`: changes along the unknowns, longitude, phase, and the separation where
    it is given (above 0).  The mean distance goes to `means`."""
    pairs, pair, columns = spin.size, int(kept[PAIR * LANES + l]), means.size
    sense = 1.0 if spin[pair] > kept[RATE * LANES + l] else -1.0
    change(w, kept, l, even, sense, found)
    for row in range(unknowns.size):
        i = unknowns[row]
        values[row * columns + column] = found[i] / scale[i * pairs + pair]
    means[column] = w[DISTANCE * LANES + l] / count
    a, b, c, d = kept[6 * LANES + l], kept[7 * LANES + l], kept[8 * LANES + l], kept[9 * LANES + l]
    x, y = 1.0 - 2.0 * (c * c + d * d), 2.0 * (b * c + a * d)
    values[(rows - 3) * columns + column] = kept[LANES + l] / scale[pair]
    values[(rows - 2) * columns + column] = math.cos(phase[pair]) * y - math.sin(phase[pair]) * x
    given = separation[pair]
    values[(rows - 1) * columns + column] = means[column] / given - 1.0 if given > 0.0 else 0.0


@kernel
def shoot(
    model, w, kept, found, y, logs, scale, spin, phase, separation, constants, coefficients, counts, at, unknowns,
    even, values, means,
):  # fmt: skip
    """All runs of the pairs `at`, eight side by side where their numbers of steps agree; arrays flat, as of `shots`."""
    model = numba.literally(model)
    columns, part = means.size, 1.0 if even else 2.0
    runs, rows = columns // at.size, values.size // columns
    first = 0
    while first < columns:
        count, held = counts[first // runs], 1
        while held < LANES and first + held < columns and counts[(first + held) // runs] == count:
            held += 1
        for l in range(LANES):
            column = first + min(l, held - 1)
            load(w, kept, l, column, at[column // runs], y, logs, spin, constants, coefficients, part, count)
        start_slopes(model, w, (1 << LANES) - 1)
        for _ in range(count):
            add_distances(w)
            attempt(model, w)
            take_ends(model, w)
        for l in range(held):
            conditions(
                w, kept, l, count, found, scale, spin, phase, separation, unknowns, even, rows, values, means, first + l
            )
        first += held


@cache
def _entry(number: int):
    arguments = (
        "w, kept, found, y, logs, scale, spin, phase, separation, constants, coefficients, counts, at, unknowns, "
        "even, values, means"
    )
    return entry_points("shots_model", number, "dynamics.shooting", shoot=arguments)


def shots(
    number: int,
    states: tuple[np.ndarray, np.ndarray, np.ndarray],
    wanted: tuple[np.ndarray, np.ndarray, np.ndarray],
    parameters: tuple[np.ndarray, np.ndarray],
    counts: np.ndarray,
    at: np.ndarray,
    unknowns: np.ndarray,
    open_logs: np.ndarray,
    step: float,
    even: bool,
) -> tuple[np.ndarray, np.ndarray]:
    """What must vanish after a turn of the pairs `at` (k,) of m, (rows, k, runs), and the mean distances (k, runs).

    states: y (20, m), logs of mass factor and rate (2, m), scale (18, m).  wanted: spin, phase, separation (m,), the
    last 0 where it is free.  parameters: (19, m) and (c, m).  counts (k,): steps of each.  unknowns, open_logs: what
    further runs displace by `step`; with step 0 there is one run a system.
    """
    order = np.argsort(counts, kind="stable")
    y, logs, scale = (part[:, at[order]] for part in states)
    runs = 1 + (len(unknowns) + len(open_logs) if step else 0)
    begun = _beside(y, logs, scale, unknowns, open_logs, step) if step else (y, logs)
    rows, columns = len(unknowns) + 3, len(at) * runs
    values, means = np.empty(rows * columns), np.empty(columns)
    flat = [np.ascontiguousarray(part, dtype=float).ravel() for part in (*begun, states[2], *wanted, *parameters)]
    _entry(number).shoot(
        aligned(lanes.work_size(number)), np.zeros(_KEPT * LANES), np.zeros(FREE), *flat,
        np.ascontiguousarray(counts[order]), np.ascontiguousarray(at[order]), unknowns, even, values, means,
    )  # fmt: skip
    back = np.argsort(order)
    return values.reshape(rows, len(at), runs)[:, back], means.reshape(len(at), runs)[back]


def _beside(
    y: np.ndarray, logs: np.ndarray, scale: np.ndarray, unknowns: np.ndarray, open_logs: np.ndarray, step: float
) -> tuple[np.ndarray, np.ndarray]:
    """The runs of pairs (20, k) and (2, k), each pair's side by side: from its state and from beside it."""
    runs = 1 + len(unknowns) + len(open_logs)
    y, logs, scale = (np.repeat(part, runs, axis=1) for part in (y, logs, scale))
    moves = np.zeros_like(scale)
    for run, direction in enumerate(unknowns, start=1):
        moves[direction, run::runs] = step * scale[direction, run::runs]
    for run, which in enumerate(open_logs, start=1 + len(unknowns)):
        logs[which, run::runs] += step
    return displaced(y, moves), logs
