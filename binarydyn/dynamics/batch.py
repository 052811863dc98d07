"""Many runs at once: eight lanes of members, each with its own step, refilled from a queue until all members are done.

A member's samples, statuses and drifts are those of `propagate.simulate`, bit for bit, whatever its lane mates are.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numba
import numpy as np

from .._jit import kernel, written_module
from . import lanes, propagate
from .lanes import CONSTANTS, ERROR, FACTOR, LANES, PARAMETERS, SLOPE, STEPS, SUMS, TAKEN, take_ends
from .lanes import attempt as attempt_lanes
from .lanes import prepare_dense as prepare_lanes
from .lanes import rates as rates_lanes
from .rungekutta import (
    CONTACT,
    DONE,
    EVALUATIONS,
    FAR,
    GROWTH,
    LIMITS,
    MOST,
    NEAR,
    PROGRESS,
    SAMPLES,
    STEP,
    STEP_FAILURE,
    STEP_LIMIT,
    TIME,
    TIME_ERROR,
    apart,
    clock,
    interpolate,
    shorter,
    too_short,
    touching_fraction,
    whereabouts,
)
from .rungekutta import STEPS as STEP_COUNT
from .stepper import ARGUMENT, END, SIZE, WEIGHT

BLOCK = 20_000
"""Joint steps in one call of compiled code: a tenth of a second, so that a run can be interrupted."""


@kernel
def take_in(w, lane, member, states, weights, parameters, width):
    """Put a member into a lane: state, error weights and parameters.

    The slope follows from the next right-hand side.
    """
    for i in range(SIZE):
        w[i * LANES + lane] = states[member * SIZE + i]
        w[(WEIGHT + i) * LANES + lane] = weights[member * SIZE + i]
    for i in range(width):
        w[(PARAMETERS + i) * LANES + lane] = parameters[member * width + i]


@kernel
def fill(w, member_of, queue, status, progress, states, weights, parameters, width):
    """Give every free lane the next waiting member, queue[0]; returns how many lanes are busy and which are new."""
    busy, new = 0, 0
    for lane in range(LANES):
        if member_of[lane] < 0 and queue[0] < status.size:
            member = queue[0]
            queue[0] += 1
            status[member] = DONE
            member_of[lane] = member
            take_in(w, lane, member, states, weights, parameters, width)
            new |= 1 << lane
            progress[member * PROGRESS + EVALUATIONS] += 1
        if member_of[lane] >= 0:
            busy += 1
    return busy, new


@kernel
def start_slopes(model, w, new):
    """Slopes at the states of the lanes in the bit set `new`."""
    model = numba.literally(model)
    for i in range(SIZE * LANES):
        w[ARGUMENT * LANES + i] = w[i]
    rates_lanes(model, w)
    for lane in range(LANES):
        if new & (1 << lane):
            for i in range(SIZE):
                w[(SIZE + i) * LANES + lane] = w[(SLOPE + i) * LANES + lane]


@kernel
def advance(
    model, w, member_of, queue, status, progress, out, spacing, max_steps, block, limits, states, weights, parameters
):
    """Go on until all members are done or `block` joint steps are made; returns True if members are left.

    status (count,), progress (count * PROGRESS), out (count * rows * 20), limits (count * LIMITS) as in
    rungekutta.advance.
    """
    model = numba.literally(model)
    count = status.size
    size, width = out.size // count, parameters.size // count
    wanted = size // SIZE - 1
    busy, new = fill(w, member_of, queue, status, progress, states, weights, parameters, width)
    tries = 0
    while busy > 0 and tries < block:
        tries += 1
        if new:
            start_slopes(model, w, new)
        for lane in range(LANES):
            member = member_of[lane]
            h = progress[member * PROGRESS + STEP] if member >= 0 else 0.0
            for i in range(SIZE):
                w[(STEPS + i) * LANES + lane] = h
        attempt_lanes(model, w)
        dense = judge(w, member_of, status, progress, spacing, limits)
        if dense:
            prepare_lanes(model, w)
        conclude(w, member_of, status, progress, out, size, wanted, spacing, max_steps, limits)
        take_ends(model, w)
        release(w, member_of, status, progress, out, size, wanted)
        busy, new = fill(w, member_of, queue, status, progress, states, weights, parameters, width)
    return busy > 0


@kernel
def judge(w, member_of, status, progress, spacing, limits):
    """What the step means to each lane, before the interpolant is there; True if one of them needs it."""
    dense = False
    for lane in range(LANES):
        member = member_of[lane]
        if member < 0:
            continue
        p, m, e = member * PROGRESS, member * LIMITS, END * LANES + lane
        progress[p + STEP_COUNT] += 1
        progress[p + EVALUATIONS] += 12
        if w[(SUMS + ERROR) * LANES + lane] <= 1.0:
            found = whereabouts(
                w[e], w[e + LANES], w[e + 2 * LANES], w[e + 3 * LANES], w[e + 4 * LANES], w[e + 5 * LANES],
                limits[m + NEAR], limits[m + FAR], w[PARAMETERS * LANES + lane],
            )  # fmt: skip
            if found == CONTACT and apart(w, e, LANES, limits, m) >= 0.0:
                found = DONE
            status[member] = found
            after, _ = clock(progress[p + TIME], progress[p + TIME_ERROR], progress[p + STEP])
            if found == CONTACT or (after - progress[p + SAMPLES] * spacing) * spacing >= 0.0:
                progress[p + EVALUATIONS] += 3
                dense = True
    return dense


@kernel
def conclude(w, member_of, status, progress, out, size, wanted, spacing, max_steps, limits):
    """Take or refuse the step of each lane."""
    for lane in range(LANES):
        member = member_of[lane]
        w[(SUMS + TAKEN) * LANES + lane] = 0.0
        if member < 0:
            continue
        p, o, found = member * PROGRESS, member * size, DONE
        t, lost, h = progress[p + TIME], progress[p + TIME_ERROR], progress[p + STEP]
        error, factor = w[(SUMS + ERROR) * LANES + lane], w[(SUMS + FACTOR) * LANES + lane]
        if error <= 1.0:
            found, fraction, done = status[member], 1.0, int(progress[p + SAMPLES])
            if found == CONTACT:
                fraction = touching_fraction(w, lane, LANES, out, o + wanted * SIZE, limits, member * LIMITS)
            at = ((done * spacing - t) + lost) / h
            while done < wanted and at <= fraction:
                interpolate(w, lane, LANES, at, out, o + done * SIZE)
                done += 1
                at = ((done * spacing - t) + lost) / h
            progress[p + SAMPLES] = done
            if done >= wanted:
                found = DONE
            if found == CONTACT:
                progress[p + TIME] = t + fraction * h
                for i in range(SIZE):
                    out[o + done * SIZE + i] = out[o + wanted * SIZE + i]
            else:
                w[(SUMS + TAKEN) * LANES + lane] = 1.0
                progress[p + TIME], progress[p + TIME_ERROR] = clock(t, lost, h)
                progress[p + STEP] = h * min(progress[p + GROWTH], max(0.3, factor))
                progress[p + GROWTH] = MOST
        else:
            h = shorter(h, error, factor)
            progress[p + STEP], progress[p + GROWTH] = h, 1.0
            found = STEP_FAILURE if too_short(h, t) else DONE
        if found == DONE and progress[p + SAMPLES] < wanted and progress[p + STEP_COUNT] >= max_steps:
            found = STEP_LIMIT
        status[member] = found


@kernel
def release(w, member_of, status, progress, out, size, wanted):
    """Free the lanes whose member has ended; after an early end the last state goes where its sample would be."""
    for lane in range(LANES):
        member = member_of[lane]
        if member >= 0:
            found, done = status[member], int(progress[member * PROGRESS + SAMPLES])
            if found != DONE or done >= wanted:
                member_of[lane] = -1
                if found != DONE and found != CONTACT:
                    for i in range(SIZE):
                        out[member * size + done * SIZE + i] = w[i * LANES + lane]


def _wrapper(number: int) -> str:
    names = "w, member_of, queue, status, progress, out, spacing, max_steps, block, limits, states, weights, parameters"
    return f'''"""Entry point of batches with the gravity model {number}: written by binarydyn.dynamics.batch."""

from binarydyn._jit import kernel
from binarydyn.dynamics import batch


@kernel
def advance({names}):
    return batch.advance({number}, {names})
'''


@cache
def entry(number: int):
    """Compiled entry point `advance` of one gravity model, cached on disk."""
    return written_module(f"batch_model_{number}", lambda: _wrapper(number))


def integrate(runs: Sequence[propagate.Run], max_steps: float) -> None:
    """Bring runs over the same window to their end; those that share a gravity model go side by side."""
    for number in {run.model for run in runs}:
        _integrate([run for run in runs if run.model == number], number, max_steps, BLOCK)


def aligned(count: int) -> np.ndarray:
    """Zeros that begin on a cache line, which 512-bit loads want."""
    raw = np.zeros(count + 8)
    first = (-raw.ctypes.data // 8) % 8
    return raw[first : first + count]


def _integrate(runs: list[propagate.Run], number: int, max_steps: float, block: int) -> None:
    """Bring runs of one model to their end, in blocks."""
    work = aligned(lanes.work_size(number))
    weights = np.concatenate([run.work[WEIGHT : WEIGHT + SIZE] for run in runs])
    states = np.concatenate([run.work[:SIZE] for run in runs])
    parameters = np.concatenate([np.concatenate((run.constants[:CONSTANTS], run.coefficients)) for run in runs])
    limits, progress = (np.concatenate([getattr(run, name) for run in runs]) for name in ("limits", "progress"))
    out = np.zeros(sum(run.samples.size for run in runs))
    member_of = np.full(LANES, -1)
    status = np.zeros(len(runs), dtype=np.int64)
    work[: PARAMETERS * LANES] = 1.0  # idle lanes compute on harmless numbers
    arguments = (
        work,
        member_of,
        np.zeros(1, dtype=np.int64),
        status,
        progress,
        out,
        runs[0].spacing_s,
        max_steps,
        block,
    )
    while entry(number).advance(*arguments, limits, states, weights, parameters):
        pass
    size = out.size // len(runs)
    for i, run in enumerate(runs):
        run.samples[:] = out[i * size : (i + 1) * size]
        run.progress[:] = progress[i * PROGRESS : (i + 1) * PROGRESS]
        run.status = int(status[i])
        count = int(run.progress[SAMPLES])
        if run.status not in (DONE, CONTACT):
            run.work[:SIZE] = run.samples[count * SIZE : (count + 1) * SIZE]
