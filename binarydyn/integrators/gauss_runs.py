"""Runs with Gauss's collocation: steps as long as rounding allows, samples by steps of their own.

The step is chosen so that the truncation error stays below rounding, and kept while it fits: the tolerance does not
enter.  A sample is the end of a step of its own from the start of the step that passes it, so the path does not know
of it and the sample is as good as the path.
"""

from __future__ import annotations

import math
from functools import cache

import numba
import numpy as np

from .._jit import entry_points, kernel
from ..motion.layout import (
    ARGUMENT,
    BEFORE,
    EVALUATIONS,
    FAR,
    GM,
    LANES,
    NEAR,
    PARAMETERS,
    SAMPLES,
    SIZE,
    STEP,
    STEPS,
    TIME,
    TIME_ERROR,
)
from . import lanes
from .gauss import END, MU, NODES, SAMPLE, STATE, WEIGHTS, guess, guess_from_start, last_term, solve, total
from .rungekutta import apart
from .step_rules import (
    CONTACT,
    DONE,
    HALVINGS,
    STEP_FAILURE,
    ahead,
    clock,
    fitting,
    halved,
    kept,
    shorter,
    too_short,
    used_up,
    whereabouts,
)
from .tableau_gauss import tables

LAST_TERM = 1e-10
"""Size of the last of eight Legendre terms of h y' that a step aims at: the truncation error is about its square."""
TOO_LARGE = 10.0
"""Times that, a step is refused."""
MOST_REFUSED = 0.5
"""Of a refused step, the longest to try next: the iteration starts anew."""


def work_array(number: int, state: np.ndarray, sizes: np.ndarray, parameters: np.ndarray) -> np.ndarray:
    """Work array of a run: state (20,), sizes (20,) that errors are compared with, motion constants and coefficients.

    The parameters stand in every lane.
    """
    work = lanes.aligned(lanes.work_size(number))
    work[STATE : STATE + SIZE] = state
    work[WEIGHTS : WEIGHTS + SIZE] = 1.0 / sizes
    work[MU : MU + len(tables())] = tables()
    work[PARAMETERS * LANES :] = np.repeat(parameters, LANES)
    return work


@kernel
def sample(model, w, h, length, out, o):
    """State a time h, the fraction `length` of the last step, after the start of that step, to out[o : o + 20]."""
    model = numba.literally(model)
    guess(w, 0.0, length)
    count = solve(model, w, h, 0.0)
    total(w, SAMPLE)
    for i in range(SIZE):
        out[o + i] = w[SAMPLE + i]
    return abs(count)


@kernel
def touching_stage(w, limits, near):
    """The first stage at which the bodies overlap, LANES if they do at the end of the step alone, or -1."""
    for l in range(LANES):
        at = ARGUMENT * LANES + l
        x, y, z = w[at], w[at + LANES], w[at + 2 * LANES]
        if x * x + y * y + z * z < near * near and apart(w, at, LANES, limits, 0) < 0.0:
            return l
    x, y, z = w[END], w[END + 1], w[END + 2]
    if x * x + y * y + z * z < near * near and apart(w, END, 1, limits, 0) < 0.0:
        return LANES
    return -1


@kernel
def touching_fraction(model, w, h, high, out, o, limits):
    """Fraction of the step, up to `high`, at which the bodies touch, by halving; the state goes to out[o : o + 20]."""
    model = numba.literally(model)
    low, count = 0.0, 0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        count += sample(model, w, middle * h, middle, out, o)
        low, high = halved(low, high, apart(out, o, 1, limits, 0) < 0.0)
    return high, count + sample(model, w, high * h, high, out, o)


@kernel
def advance(model, w, progress, out, spacing, max_steps, block_steps, limits, c, k):
    """As rungekutta.advance, by Gauss's collocation; the parameters c and k stand in w too."""
    model = numba.literally(model)
    wanted = out.size // SIZE - 1
    t, lost, h, before = progress[TIME], progress[TIME_ERROR], progress[STEP], progress[BEFORE]
    done, attempts, evaluations, status = int(progress[SAMPLES]), 0, 0, DONE
    while done < wanted and status == DONE:
        status = used_up(progress[STEPS], max_steps, attempts, block_steps)
        if status != DONE:
            break
        attempts += 1
        progress[STEPS] += 1
        if before == 0.0:
            guess_from_start(model, w)
        else:
            guess(w, 1.0, h / before)
        count = solve(model, w, h, 1.0 - 2.0 * (progress[STEPS] % 2.0))
        evaluations += LANES * abs(count)
        error = last_term(w, h) / LAST_TERM
        if count < 0 or not error <= TOO_LARGE:
            h, before = shorter(h, error if count > 0 else math.inf, min(MOST_REFUSED, fitting(error))), 0.0
            status = STEP_FAILURE if too_short(h, t) else DONE
            continue
        total(w, END)
        e, near2, far2 = END, limits[NEAR] ** 2, limits[FAR] ** 2
        status = whereabouts(w[e], w[e + 1], w[e + 2], w[e + 3], w[e + 4], w[e + 5], near2, far2, k[GM])
        touch = touching_stage(w, limits, limits[NEAR])
        status = CONTACT if touch >= 0 else DONE if status == CONTACT else status
        after, lost_after = clock(t, lost, h)
        fraction, count = 1.0, 0
        if touch >= 0:
            high = 1.0 if touch == LANES else 0.5 + 0.5 * w[NODES + touch]
            fraction, count = touching_fraction(model, w, h, high, out, wanted * SIZE, limits)
        rest = ahead(done, spacing, t, lost)
        while done < wanted and rest / h <= fraction:
            count += sample(model, w, rest, rest / h, out, done * SIZE)
            done += 1
            rest = ahead(done, spacing, t, lost)
        evaluations += LANES * count
        if done >= wanted:  # the last step may pass the end of the window; what happens there does not count
            status = DONE
        if status == CONTACT:
            t += fraction * h
            for i in range(SIZE):
                out[done * SIZE + i] = out[wanted * SIZE + i]
        else:
            for i in range(2 * SIZE):
                w[STATE + i] = w[END + i]
            t, lost, before = after, lost_after, h
            h = kept(h, fitting(error))
    progress[TIME], progress[TIME_ERROR], progress[STEP], progress[BEFORE] = t, lost, h, before
    progress[SAMPLES] = done
    progress[EVALUATIONS] += evaluations
    return status


@cache
def entry(number: int):
    """Compiled entry point `advance` of one gravity model, cached on disk."""
    arguments = "w, progress, out, spacing, max_steps, block_steps, limits, c, k"
    return entry_points("gauss_model", number, "integrators.gauss_runs", advance=arguments)
