"""Many runs at once: eight lanes of members, each with its own step, refilled from a queue until all members are done.

A member's samples, statuses and drifts are those of `propagate.simulate`, bit for bit, whatever its lane mates are.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numba
import numpy as np

from .._jit import entry_points, kernel
from ..motion.layout import (
    ARGUMENT,
    CONSTANTS,
    DUE,
    END,
    EVALUATIONS,
    EVENT,
    FAR,
    FAR2,
    FIRST_SLOPE,
    LANES,
    LIMITS,
    NEAR,
    NEAR2,
    NEVER,
    NEXT,
    PARAMETERS,
    PENDING,
    PROGRESS,
    REACH,
    RUN,
    SAMPLES,
    SIZE,
    SLOPE,
    STEP,
    STEPS,
    TAKEN,
    TIME,
    WEIGHT,
)
from . import lanes, propagate
from .lane_control import look_ahead, settle, weigh
from .lanes import aligned, between, take_ends
from .lanes import attempt as attempt_lanes
from .lanes import prepare_dense as prepare_lanes
from .lanes import rates as rates_lanes
from .rungekutta import apart, touching_fraction
from .step_rules import CONTACT, DONE, STEP_LIMIT

BLOCK = 20_000
"""Joint steps in one call of compiled code: a tenth of a second, so that a run can be interrupted."""


@kernel
def take_in(w, lane, member, progress, limits, states, weights, parameters, width):
    """Put a member into a lane: state, error weights, parameters, and what its run remembers.

    The slope follows from the next right-hand side.
    """
    for i in range(SIZE):
        w[i * LANES + lane] = states[member * SIZE + i]
        w[(WEIGHT + i) * LANES + lane] = weights[member * SIZE + i]
    for i in range(width):
        w[(PARAMETERS + i) * LANES + lane] = parameters[member * width + i]
    p, m = member * PROGRESS, member * LIMITS
    for i in range(PROGRESS):
        w[(RUN + i) * LANES + lane] = progress[p + i]
    w[(RUN + EVALUATIONS) * LANES + lane] += 1.0
    w[NEAR2 * LANES + lane], w[FAR2 * LANES + lane] = limits[m + NEAR] ** 2, limits[m + FAR] ** 2


@kernel
def let_go(w, lane, member, progress):
    """Write down what the run of a member that has ended remembers, and leave its lane idle."""
    p = member * PROGRESS
    for i in range(PROGRESS):
        progress[p + i] = w[(RUN + i) * LANES + lane]
    w[(RUN + STEP) * LANES + lane], w[(RUN + SAMPLES) * LANES + lane] = 0.0, NEVER
    w[NEAR2 * LANES + lane], w[FAR2 * LANES + lane] = 0.0, NEVER
    for i in range(SIZE):
        w[i * LANES + lane], w[(FIRST_SLOPE + i) * LANES + lane] = 1.0, 0.0


@kernel
def fill(w, member_of, queue, status, progress, limits, states, weights, parameters, width):
    """Give every free lane the next waiting member, queue[0]; returns how many lanes are busy and which are new."""
    busy, new = 0, 0
    for lane in range(LANES):
        if member_of[lane] < 0 and queue[0] < status.size:
            member = queue[0]
            queue[0] += 1
            status[member] = DONE
            member_of[lane] = member
            take_in(w, lane, member, progress, limits, states, weights, parameters, width)
            new |= 1 << lane
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
                w[(FIRST_SLOPE + i) * LANES + lane] = w[(SLOPE + i) * LANES + lane]


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
    busy, new = fill(w, member_of, queue, status, progress, limits, states, weights, parameters, width)
    tries = 0
    while busy > 0 and tries < block:
        tries += 1
        if new:
            start_slopes(model, w, new)
            new = 0
        attempt_lanes(model, w)
        weigh(w, spacing)
        due, ends = 0.0, 0.0
        for lane in range(LANES):
            due += w[DUE * LANES + lane]
            ends += w[EVENT * LANES + lane]
        touching = ends > 0.0 and look(w, member_of, status, limits)
        if due > 0.0 or touching:
            prepare_lanes(model, w)
            if touching:
                touch(w, member_of, status, out, size, wanted, limits)
            sample(model, w, member_of, out, size, spacing, wanted)
        take_ends(model, w)
        settle(w)
        if ends > 0.0 or over(w, wanted, max_steps):
            release(w, member_of, status, progress, out, size, wanted, max_steps)
            busy, new = fill(w, member_of, queue, status, progress, limits, states, weights, parameters, width)
    return busy > 0


@kernel
def look(w, member_of, status, limits):
    """Name the ends of the lanes with an event; True if bodies touch."""
    touching = False
    for lane in range(LANES):
        end, member = int(w[EVENT * LANES + lane]), member_of[lane]
        if member < 0 or end == CONTACT and apart(w, END * LANES + lane, LANES, limits, member * LIMITS) >= 0.0:
            continue
        status[member] = end
        touching = touching or end == CONTACT
    return touching


@kernel
def touch(w, member_of, status, out, size, wanted, limits):
    """In the lanes that touch: how far the step counts, and the state there."""
    for lane in range(LANES):
        member = member_of[lane]
        if member >= 0 and status[member] == CONTACT:
            o = member * size + wanted * SIZE
            w[REACH * LANES + lane] = touching_fraction(w, lane, LANES, out, o, limits, member * LIMITS)
            w[DUE * LANES + lane], w[TAKEN * LANES + lane] = 1.0, 0.0
            w[NEXT * LANES + lane] = w[(RUN + STEP) * LANES + lane]


@kernel
def sample(model, w, member_of, out, size, spacing, wanted):
    """Read off the interpolants all samples that lie in the steps just made."""
    model = numba.literally(model)
    for lane in range(LANES):
        w[(RUN + EVALUATIONS) * LANES + lane] += 3.0 * w[DUE * LANES + lane]
    pending = 1.0
    while pending > 0.0:
        pending = 0.0
        look_ahead(w, spacing, wanted)
        for lane in range(LANES):
            pending += w[PENDING * LANES + lane]
        if pending > 0.0:
            between(model, w)
        for lane in range(LANES):
            if w[PENDING * LANES + lane] > 0.0:
                at = member_of[lane] * size + int(w[(RUN + SAMPLES) * LANES + lane]) * SIZE
                for i in range(SIZE):
                    out[at + i] = w[(ARGUMENT + i) * LANES + lane]
                w[(RUN + SAMPLES) * LANES + lane] += 1.0


@kernel
def over(w, wanted, max_steps):
    """Whether a lane has all its samples or all its steps."""
    found = False
    for lane in range(LANES):
        done, count = w[(RUN + SAMPLES) * LANES + lane], w[(RUN + STEPS) * LANES + lane]
        found = found or (done < NEVER and (done >= wanted or count >= max_steps))
    return found


@kernel
def release(w, member_of, status, progress, out, size, wanted, max_steps):
    """Free the lanes whose member has ended; after an early end the last state goes where its sample would be."""
    for lane in range(LANES):
        member = member_of[lane]
        if member < 0:
            continue
        done, found = int(w[(RUN + SAMPLES) * LANES + lane]), status[member]
        if done >= wanted:
            found = DONE
        elif found == DONE and w[(RUN + STEPS) * LANES + lane] >= max_steps:
            found = STEP_LIMIT
        status[member] = found
        if found == DONE and done < wanted:
            continue
        member_of[lane] = -1
        o = member * size
        if found == CONTACT:
            w[(RUN + TIME) * LANES + lane] += w[REACH * LANES + lane] * w[(RUN + STEP) * LANES + lane]
            for i in range(SIZE):
                out[o + done * SIZE + i] = out[o + wanted * SIZE + i]
        elif found != DONE:
            for i in range(SIZE):
                out[o + done * SIZE + i] = w[i * LANES + lane]
        let_go(w, lane, member, progress)


@cache
def entry(number: int):
    """Compiled entry point `advance` of one gravity model, cached on disk."""
    arguments = (
        "w, member_of, queue, status, progress, out, spacing, max_steps, block, limits, states, weights, parameters"
    )
    return entry_points("batch_model", number, "integrators.batch", advance=arguments)


def integrate(runs: Sequence[propagate.Run], max_steps: float) -> None:
    """Bring runs over the same window to their end; those that share a gravity model go side by side."""
    for number in {run.model for run in runs}:
        _integrate([run for run in runs if run.model == number], number, max_steps, BLOCK)


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
    work[: PARAMETERS * LANES] = 1.0
    rows = work.reshape(-1, LANES)
    rows[[RUN + STEP, NEAR2]], rows[[RUN + SAMPLES, FAR2]] = 0.0, NEVER
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
