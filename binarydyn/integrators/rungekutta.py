"""Adaptive integration with the Runge-Kutta method 8(5,3), wholly inside compiled code, with dense output.

The path is decided by the tolerance alone: samples are read off the interpolant, and the last step may pass the end
of the window. Step control is in step_rules.py.
"""

from __future__ import annotations

import math
from functools import cache

import numba

from .._jit import entry_points, inlined, kernel
from ..bodies.contact import ellipsoids_touch
from ..motion.equations import conserved, rates
from ..motion.layout import (
    AXES,
    BEGUN,
    CLOCK,
    DENSE,
    END,
    ENDED,
    EVALUATIONS,
    FAR,
    FIRST_SLOPE,
    GM,
    GROWTH,
    LAST_SLOPE,
    NEAR,
    Q1,
    Q2,
    SAMPLES,
    SIZE,
    STEP,
    STEPS,
    TIME,
    TIME_ERROR,
    R,
)
from ..vectors import four, quaternion_product, rotation_of_quaternion, three
from .step_rules import (
    CONTACT,
    DONE,
    HALVINGS,
    MOST,
    STEP_FAILURE,
    ahead,
    clock,
    fitting,
    halved,
    is_due,
    longer,
    shorter,
    taken,
    too_short,
    used_up,
    whereabouts,
)
from .stepper import attempt, between, prepare_dense

# The kernels below serve one run (lane 0 of 1) and a lane of several side by side: component i of a slot of the work
# array w stands at (slot + i) * lanes + lane; p, m and o say where the lane's progress, limits and samples begin.


@kernel
def interpolate(w, lane, lanes, a, out, o):
    """State at the fraction a of the step that was just made, to out[o : o + 20]."""
    slot = SIZE * lanes
    for i in range(SIZE):
        d = (DENSE + i) * lanes + lane
        out[o + i] = between(
            a, w[i * lanes + lane], w[d], w[d + slot], w[d + 2 * slot], w[d + 3 * slot], w[d + 4 * slot],
            w[d + 5 * slot], w[d + 6 * slot],
        )  # fmt: skip


@kernel
def apart(w, at, stride, limits, m):
    """Contact function of the enclosing ellipsoids in the state w[at], w[at + stride], ..

    Negative where they overlap.
    """
    q0, q1, q2, q3 = four(w, at + Q1 * stride, stride)
    A11, A12, A13, A21, A22, A23, A31, A32, A33 = rotation_of_quaternion(q0, q1, q2, q3)
    p0, p1, p2, p3 = four(w, at + Q2 * stride, stride)
    e0, e1, e2, e3 = quaternion_product(q0, -q1, -q2, -q3, p0, p1, p2, p3)
    C11, C12, C13, C21, C22, C23, C31, C32, C33 = rotation_of_quaternion(e0, e1, e2, e3)
    rx, ry, rz = three(w, at + R * stride, stride)
    x, y, z = A11 * rx + A21 * ry + A31 * rz, A12 * rx + A22 * ry + A32 * rz, A13 * rx + A23 * ry + A33 * rz
    return ellipsoids_touch(
        *three(limits, m + AXES, 1), *three(limits, m + AXES + 3, 1),
        x, y, z, C11, C12, C13, C21, C22, C23, C31, C32, C33,
    )  # fmt: skip


@kernel
def touching_fraction(w, lane, lanes, out, o, limits, m):
    """Fraction of the step at which the bodies touch, by halving; the state there goes to out[o : o + 20]."""
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        interpolate(w, lane, lanes, 0.5 * (low + high), out, o)
        low, high = halved(low, high, apart(out, o, 1, limits, m) < 0.0)
    interpolate(w, lane, lanes, high, out, o)
    return high


@inlined
def take_end(w):
    """Make the end of the step the new start; its slope is known already."""
    for i in range(SIZE):
        w[i] = w[END + i]
        w[FIRST_SLOPE + i] = w[LAST_SLOPE + i]


@kernel
def advance(model, w, progress, out, spacing, max_steps, block_steps, limits, c, k):
    """Go on until every row of 20 in out but the last is filled with the states at 0, spacing, 2 spacing, ..

    The last row is for an early end.  w and progress hold everything that the next block needs.  Returns DONE, CONTACT,
    ESCAPE, STEP_FAILURE, STEP_LIMIT, or PAUSED after block_steps attempts; with CONTACT, row progress[SAMPLES] is the
    state at the touch and progress[TIME] its time.
    """
    model = numba.literally(model)
    wanted = out.size // SIZE - 1
    t, lost, h, most = progress[TIME], progress[TIME_ERROR], progress[STEP], progress[GROWTH]
    done, attempts, status = int(progress[SAMPLES]), 0, DONE
    w[CLOCK] = t
    rates(model, w, 0, FIRST_SLOPE, c, k)
    progress[EVALUATIONS] += 1
    while done < wanted and status == DONE:
        status = used_up(progress[STEPS], max_steps, attempts, block_steps)
        if status != DONE:
            break
        attempts += 1
        progress[STEPS] += 1
        progress[EVALUATIONS] += 12
        after, lost_after = clock(t, lost, h)
        w[BEGUN], w[ENDED] = t, after
        error = attempt(model, w, h, c, k)
        factor = fitting(error)
        if not taken(error):
            h, most = shorter(h, error, factor), 1.0
            status = STEP_FAILURE if too_short(h, t) else DONE
            continue
        e, near2, far2 = END, limits[NEAR] ** 2, limits[FAR] ** 2
        status = whereabouts(w[e], w[e + 1], w[e + 2], w[e + 3], w[e + 4], w[e + 5], near2, far2, k[GM])
        if status == CONTACT and apart(w, END, 1, limits, 0) >= 0.0:
            status = DONE
        fraction = 1.0
        if status == CONTACT or is_due(after, done, spacing):
            prepare_dense(model, w, h, c, k)
            progress[EVALUATIONS] += 3
            if status == CONTACT:
                fraction = touching_fraction(w, 0, 1, out, wanted * SIZE, limits, 0)
            at = ahead(done, spacing, t, lost) / h
            while done < wanted and at <= fraction:
                interpolate(w, 0, 1, at, out, done * SIZE)
                done += 1
                at = ahead(done, spacing, t, lost) / h
        if done >= wanted:  # the last step may pass the end of the window; what happens there does not count
            status = DONE
        if status == CONTACT:
            t += fraction * h
            for i in range(SIZE):
                out[done * SIZE + i] = out[wanted * SIZE + i]
        else:
            take_end(w)
            t, lost = after, lost_after
            h, most = longer(h, factor, most), MOST
    progress[TIME], progress[TIME_ERROR], progress[STEP], progress[GROWTH] = t, lost, h, most
    progress[SAMPLES] = done
    return status


@kernel
def drifts(model, out, rows, c, k):
    """(max |E - E0|, max |H - H0|) over the first rows of 20 in out, per G M1 M2 and per m, against row 0."""
    model = numba.literally(model)
    e0, x0, y0, z0 = conserved(model, out, 0, c, k)
    energy, momentum = 0.0, 0.0
    for row in range(1, rows):
        e, x, y, z = conserved(model, out, row * SIZE, c, k)
        energy = max(energy, abs(e - e0))
        momentum = max(momentum, math.sqrt((x - x0) ** 2 + (y - y0) ** 2 + (z - z0) ** 2))
    return energy, momentum


@cache
def entry(number: int):
    """Compiled entry points `advance` and `drifts` of one gravity model; each is cached on disk."""
    return entry_points(
        "runge_kutta_model",
        number,
        "integrators.rungekutta",
        advance="w, progress, out, spacing, max_steps, block_steps, limits, c, k",
        drifts="out, rows, c, k",
    )
