"""Runs with the splitting: eight lanes with one fixed step, a sample at the end of each step."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

import numba
import numpy as np

from .._jit import entry_points, kernel
from ..constants import DAY_S
from ..motion.state import State, System
from . import propagate
from .lanes import LANES, aligned
from .propagate import Run
from .rungekutta import DONE, EVALUATIONS, FAR, LIMITS, NEAR, SAMPLES, STEP, STEPS, TIME, whereabouts
from .splitting import CONSTANTS, DRIFTS, KICKS, LONGEST_DRIFT, MOST_TURN, SIZE, drift, fitting_step_s, kick, work_size

UNFIT = 9
"""Status of a lane whose bodies came near, parted, or are not numbers: a fixed step is not for them."""


def step_s(system: System, state: State, longest_s: float = math.inf) -> float:
    """The step that a state needs: a thirteenth of the orbit or less, so that no spin turns too far; see
    fitting_step_s.
    """
    size = propagate.scales(system, state)
    primary = float(np.linalg.norm(state.rate1_rad_s))
    return fitting_step_s(size[3] / size[0], max(size[10], size[17]), primary, longest_s)


@kernel
def advance(model, w, out, steps, first, count, h, drifts, kicks, limits, status):
    """Steps first + 1 .. first + count of all lanes; sample n of a lane goes to row n of its part of out."""
    model = numba.literally(model)
    for n in range(first + 1, first + count + 1):
        for i in range(kicks.size):
            drift(model, w, drifts[i] * h)
            kick(model, w, kicks[i] * h)
        drift(model, w, drifts[kicks.size] * h)
        for lane in range(LANES):
            at = (lane * (steps + 2) + n) * SIZE
            for i in range(SIZE):
                out[at + i] = w[i * LANES + lane]
            for i in range(3):  # from momenta to rates
                out[at + 10 + i] *= w[(SIZE + 1 + i) * LANES + lane]
                out[at + 17 + i] *= w[(SIZE + 4 + i) * LANES + lane]
            m = lane * LIMITS
            found = whereabouts(
                out[at], out[at + 1], out[at + 2], out[at + 3], out[at + 4], out[at + 5],
                limits[m + NEAR], limits[m + FAR], w[SIZE * LANES + lane],
            )  # fmt: skip
            if found != DONE or out[at] != out[at]:
                status[lane] = UNFIT


@cache
def entry(number: int):
    """Compiled entry point `advance` of one gravity model, cached on disk."""
    arguments = "w, out, steps, first, count, h, drifts, kicks, limits, status"
    return entry_points("splitting_model", number, "integrators.split_runs", advance=arguments)


def start(system: System, days: float, state: State | None, every_minutes: float) -> Run:
    """Set up a run whose samples are its steps: the state's own step within every_minutes, off the resonance.

    Steps divide the window evenly, which shortens them a little, and perhaps into the resonance: then once more.
    """
    state = system.state if state is None else state
    window, h = abs(days) * DAY_S, 60.0 * every_minutes
    for _ in range(2):
        h = window / max(1, math.ceil(window / step_s(system, state, h) - 1e-9))
    return propagate.start(system, days, state, h / 60.0)


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
        k = run.constants
        columns[:SIZE, lane] = _momenta(run.work[:SIZE], k)
        inverse = 1.0 / np.linalg.norm(run.work[:3])
        columns[SIZE : SIZE + CONSTANTS, lane] = [k[0], *k[1:4], *k[7:10], inverse]
        columns[SIZE + CONSTANTS :, lane] = run.coefficients
    out = np.empty((LANES, steps + 2, SIZE))  # the row after the last is for early ends, which there are none of
    out[:, 0] = [run.work[:SIZE] for run in lanes]
    limits, status = np.concatenate([_limits(run) for run in lanes]), np.zeros(LANES, dtype=np.int64)
    drifts, kicks = np.array(DRIFTS), np.array(KICKS)
    for first in range(0, steps, block):
        count = min(block, steps - first)
        entry(number).advance(work, out.ravel(), steps, first, count, h, drifts, kicks, limits, status)
    for run, samples in zip(runs, out, strict=False):
        run.samples = samples.ravel()
        run.progress[[TIME, STEP, STEPS]] = steps * h, h, steps
        run.progress[EVALUATIONS], run.progress[SAMPLES], run.status = steps * len(KICKS), steps + 1, DONE
    return [run for run, bad in zip(runs, status, strict=False) if bad]


def _limits(run: Run) -> np.ndarray:
    """Those of the run, with the distance inside which a drift would turn farther than its series hold for."""
    out = run.limits.copy()
    h = LONGEST_DRIFT * abs(run.spacing_s)
    out[NEAR] = max(out[NEAR], np.cbrt(run.constants[0] * (h / MOST_TURN) ** 2))
    return out


def _momenta(y: np.ndarray, constants: np.ndarray) -> np.ndarray:
    """State (20,) with both spins as momenta per G M1 M2."""
    out = np.array(y)
    out[10:13] /= constants[1:4]
    out[17:20] /= constants[7:10]
    return out
