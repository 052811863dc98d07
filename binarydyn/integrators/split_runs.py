"""Runs with the splitting: eight lanes with one fixed step, a sample at the end of each step."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numba
import numpy as np

from .._jit import entry_points, kernel
from ..constants import DAY_S
from ..motion.layout import (
    EVALUATIONS,
    FAR,
    GM,
    LANES,
    LIMITS,
    NEAR,
    SAMPLES,
    SIZE,
    STEP,
    STEPS,
    TIME,
)
from ..motion.state import State, System
from . import propagate
from .lanes import aligned
from .propagate import Run
from .splitting import fill, step, to_rates, work_size
from .step_rules import DONE, nearest_m, steps_of, whereabouts
from .tableau_splitting import KICKS

UNFIT = 9
"""Status of a lane whose bodies came near, parted, or are not numbers: a fixed step is not for them."""


@kernel
def advance(model, w, out, steps, first, count, h, limits, status):
    """Steps first + 1 .. first + count of all lanes; sample n of a lane, with momenta, goes to row n of its part of
    out."""
    model = numba.literally(model)
    for n in range(first + 1, first + count + 1):
        step(model, w, h)
        for lane in range(LANES):
            at = (lane * (steps + 2) + n) * SIZE
            for i in range(SIZE):
                out[at + i] = w[i * LANES + lane]
            m = lane * LIMITS
            found = whereabouts(
                out[at], out[at + 1], out[at + 2], out[at + 3], out[at + 4], out[at + 5],
                limits[m + NEAR] ** 2, limits[m + FAR] ** 2, w[SIZE * LANES + lane],
            )  # fmt: skip
            if found != DONE or out[at] != out[at]:
                status[lane] = UNFIT


@cache
def entry(number: int):
    """Compiled entry point `advance` of one gravity model, cached on disk."""
    arguments = "w, out, steps, first, count, h, limits, status"
    return entry_points("splitting_model", number, "integrators.split_runs", advance=arguments)


def start(system: System, days: float, state: State | None, every_minutes: float) -> Run:
    """Set up a run whose samples are its steps: the state's own step within every_minutes, off the resonance.

    Steps divide the window evenly, which shortens them a little.
    """
    y, minutes = (system.state if state is None else state).vector, abs(days) * DAY_S / 60.0
    steps = steps_of(y, system.gm_m3_s2, 60.0 * minutes, _whole, at_least=minutes / every_minutes)
    return propagate.start(system, days, state, minutes / float(steps))


def _whole(steps):
    return np.maximum(1.0, np.ceil(steps - 1e-9))


def integrate(runs: Sequence[Run], block: int = 2000) -> list[Run]:
    """Bring runs to their end, side by side where model, window and step agree.

    Returns those that a fixed step does not fit.
    """
    groups: dict[tuple, list[Run]] = {}
    for run in runs:
        groups.setdefault((run.model, run.samples.size, run.spacing_s), []).append(run)
    unfit = []
    for group in groups.values():
        for k in range(0, len(group), LANES):
            unfit += _eight(group[k : k + LANES], block)
    return unfit


def _eight(runs: list[Run], block: int) -> list[Run]:
    """Up to eight runs of one kind; idle lanes repeat the first."""
    number, h = runs[0].model, runs[0].spacing_s
    steps = runs[0].samples.size // SIZE - 2
    lanes = runs + [runs[0]] * (LANES - len(runs))
    work = aligned(work_size(number))
    columns = work.reshape(-1, LANES)
    for lane, run in enumerate(lanes):
        fill(columns[:, lane], run.work[:SIZE], run.constants, run.coefficients)
    out = np.empty((LANES, steps + 2, SIZE))  # the row after the last is for early ends, which there are none of
    out[:, 0] = [run.work[:SIZE] for run in lanes]
    limits, status = np.concatenate([_limits(run) for run in lanes]), np.zeros(LANES, dtype=np.int64)
    for first in range(0, steps, block):
        count = min(block, steps - first)
        entry(number).advance(work, out.ravel(), steps, first, count, h, limits, status)
    to_rates(out[:, 1:-1].transpose(2, 0, 1), columns[:, :, None])
    for run, samples in zip(runs, out, strict=False):
        run.samples = samples.ravel()
        run.progress[[TIME, STEP, STEPS]] = steps * h, h, steps
        run.progress[EVALUATIONS], run.progress[SAMPLES], run.status = steps * len(KICKS), steps + 1, DONE
    return [run for run, bad in zip(runs, status, strict=False) if bad]


def _limits(run: Run) -> np.ndarray:
    """Those of the run, with the distance that its steps need."""
    out = run.limits.copy()
    out[NEAR] = max(out[NEAR], nearest_m(run.constants[GM], run.spacing_s))
    return out
