"""Adaptive integration with the Runge-Kutta method 8(5,3), wholly inside compiled code, with dense output.

The path is decided by the tolerance alone: samples are read off the interpolant, and the last step may pass the end
of the window. Step control after Hairer, Norsett & Wanner 1993 (Solving Ordinary Differential Equations I, 2nd ed.,
sec. II.4).
"""

from __future__ import annotations

import math
from functools import cache

import numba

from .._jit import entry_points, fma, inlined, kernel
from ..bodies.contact import ellipsoids_touch
from ..motion.equations import conserved, rates
from ..motion.layout import BEGUN, CLOCK, DENSE, END, ENDED, SIZE
from ..vectors import quaternion_product, rotation_of_quaternion
from .stepper import attempt, prepare_dense

DONE, CONTACT, ESCAPE, STEP_FAILURE, STEP_LIMIT, PAUSED = range(6)
# What a run remembers between blocks: time, the rounding error of the time, next step, how much longer it may get,
# counts.
TIME, TIME_ERROR, STEP, GROWTH, STEPS, EVALUATIONS, SAMPLES, PROGRESS = range(8)
# What ends a run: radii within which contact is looked for and beyond which escape is, semi-axes of both enclosing
# ellipsoids.
NEAR, FAR, AXES, LIMITS = 0, 1, 2, 8
_HALVINGS = 40
MOST = 6.0
"""How many times as long as the last a step may be."""
SHORTEST_S = 1e-9

# The kernels below serve one run (lane 0 of 1) and a lane of several side by side: component i of a slot of the work
# array w stands at (slot + i) * lanes + lane; p, m and o say where the lane's progress, limits and samples begin.


@kernel
def interpolate(w, lane, lanes, a, out, o):
    """State at the fraction a of the step that was just made, to out[o : o + 20]."""
    b = 1.0 - a
    for i in range(SIZE):
        d = (DENSE + i) * lanes + lane
        step = SIZE * lanes
        y = fma(a, w[d + 6 * step], w[d + 5 * step])
        y = fma(b, y, w[d + 4 * step])
        y = fma(a, y, w[d + 3 * step])
        y = fma(b, y, w[d + 2 * step])
        y = fma(a, y, w[d + step])
        y = fma(b, y, w[d])
        out[o + i] = fma(a, y, w[i * lanes + lane])


@kernel
def apart(w, at, stride, limits, m):
    """Contact function of the enclosing ellipsoids in the state w[at], w[at + stride], ..

    Negative where they overlap.
    """
    s = stride
    q0, q1, q2, q3 = w[at + 6 * s], w[at + 7 * s], w[at + 8 * s], w[at + 9 * s]
    A11, A12, A13, A21, A22, A23, A31, A32, A33 = rotation_of_quaternion(q0, q1, q2, q3)
    p0, p1, p2, p3 = w[at + 13 * s], w[at + 14 * s], w[at + 15 * s], w[at + 16 * s]
    e0, e1, e2, e3 = quaternion_product(q0, -q1, -q2, -q3, p0, p1, p2, p3)
    C11, C12, C13, C21, C22, C23, C31, C32, C33 = rotation_of_quaternion(e0, e1, e2, e3)
    rx, ry, rz = w[at], w[at + s], w[at + 2 * s]
    x, y, z = A11 * rx + A21 * ry + A31 * rz, A12 * rx + A22 * ry + A32 * rz, A13 * rx + A23 * ry + A33 * rz
    return ellipsoids_touch(
        limits[m + 2], limits[m + 3], limits[m + 4], limits[m + 5], limits[m + 6], limits[m + 7],
        x, y, z, C11, C12, C13, C21, C22, C23, C31, C32, C33,
    )  # fmt: skip


@kernel
def touching_fraction(w, lane, lanes, out, o, limits, m):
    """Fraction of the step at which the bodies touch, by halving; the state there goes to out[o : o + 20]."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        interpolate(w, lane, lanes, middle, out, o)
        if apart(out, o, 1, limits, m) < 0.0:
            high = middle
        else:
            low = middle
    interpolate(w, lane, lanes, high, out, o)
    return high


# Functions that a loop calls in every step take and return numbers: an array as argument costs a count of its owners.


@inlined
def whereabouts(rx, ry, rz, vx, vy, vz, near, far, gm):
    """DONE (go on), ESCAPE, or CONTACT where the bounding spheres overlap and a closer look must decide."""
    square = rx * rx + ry * ry + rz * rz
    faster = 0.5 * (vx * vx + vy * vy + vz * vz) > gm / math.sqrt(square)
    return CONTACT if square < near * near else ESCAPE if square > far * far and faster else DONE


@inlined
def fitting(error):
    """The factor by which a step of this error norm could be longer: 0.9 error^(-1/8), by three square roots."""
    return 0.9 / math.sqrt(math.sqrt(math.sqrt(error)))


@inlined
def shorter(h, error, factor):
    """The next try after a step whose error norm was above 1 or not a number."""
    return h * max(0.2, factor) if error < 1e30 else 0.2 * h


@inlined
def too_short(h, t):
    """Whether a step no longer moves the time."""
    return abs(h) < 1e-13 * abs(t) or abs(h) < SHORTEST_S


@inlined
def clock(t, lost, h):
    """Time after a step and its rounding error, which the next step takes back (Kahan 1965, CACM 8, 40)."""
    step = h - lost
    after = t + step
    return after, (after - t) - step


@inlined
def take_end(w):
    """Make the end of the step the new start; its slope is known already."""
    for i in range(SIZE):
        w[i] = w[END + i]
        w[SIZE + i] = w[13 * SIZE + i]


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
    rates(model, w, 0, SIZE, c, k)
    progress[EVALUATIONS] += 1
    while done < wanted and status == DONE:
        if progress[STEPS] >= max_steps or attempts >= block_steps:
            status = STEP_LIMIT if progress[STEPS] >= max_steps else PAUSED
            break
        attempts += 1
        progress[STEPS] += 1
        progress[EVALUATIONS] += 12
        after, lost_after = clock(t, lost, h)
        w[BEGUN], w[ENDED] = t, after
        error = attempt(model, w, h, c, k)
        factor = fitting(error)
        if not error <= 1.0:
            h, most = shorter(h, error, factor), 1.0
            status = STEP_FAILURE if too_short(h, t) else DONE
            continue
        e = END
        status = whereabouts(w[e], w[e + 1], w[e + 2], w[e + 3], w[e + 4], w[e + 5], limits[NEAR], limits[FAR], k[0])
        if status == CONTACT and apart(w, END, 1, limits, 0) >= 0.0:
            status = DONE
        fraction = 1.0
        if status == CONTACT or (after - done * spacing) * spacing >= 0.0:
            prepare_dense(model, w, h, c, k)
            progress[EVALUATIONS] += 3
            if status == CONTACT:
                fraction = touching_fraction(w, 0, 1, out, wanted * SIZE, limits, 0)
            at = ((done * spacing - t) + lost) / h
            while done < wanted and at <= fraction:
                interpolate(w, 0, 1, at, out, done * SIZE)
                done += 1
                at = ((done * spacing - t) + lost) / h
        if done >= wanted:  # the last step may pass the end of the window; what happens there does not count
            status = DONE
        if status == CONTACT:
            t += fraction * h
            for i in range(SIZE):
                out[done * SIZE + i] = out[wanted * SIZE + i]
        else:
            take_end(w)
            t, lost = after, lost_after
            h, most = h * min(most, max(0.3, factor)), MOST
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
