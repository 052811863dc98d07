"""Adaptive integration with the Runge-Kutta method 8(5,3), wholly inside compiled code, with dense output.

The path is decided by the tolerance alone: samples are read off the interpolant, and the last step may pass the end
of the window. Step control after Hairer, Norsett & Wanner 1993 (Solving Ordinary Differential Equations I, 2nd ed.,
sec. II.4).
"""

from __future__ import annotations

import math
from functools import cache

import numba

from .._jit import fma, kernel, written_module
from ..bodies.contact import ellipsoids_touch
from ..vectors import quaternion_product, rotation_of_quaternion
from .motion import conserved, rates
from .stepper import DENSE, END, SIZE, attempt, prepare_dense

DONE, CONTACT, ESCAPE, STEP_FAILURE, STEP_LIMIT, PAUSED = range(6)
# What a run remembers between blocks: time, the rounding error of the time, next step, counts.
TIME, TIME_ERROR, STEP, STEPS, EVALUATIONS, SAMPLES, PROGRESS = range(7)
# What ends a run: radii within which contact is looked for and beyond which escape is, semi-axes of both enclosing
# ellipsoids.
NEAR, FAR, AXES, LIMITS = 0, 1, 2, 8
_HALVINGS = 40
MOST = 6.0
"""How many times as long as the last a step may be."""
SHORTEST_S = 1e-9


@kernel
def interpolate(w, a, out, at):
    """State at the fraction a of the step that was just made, to out[at : at + 20]."""
    b = 1.0 - a
    for i in range(SIZE):
        y = fma(a, w[DENSE + 120 + i], w[DENSE + 100 + i])
        y = fma(b, y, w[DENSE + 80 + i])
        y = fma(a, y, w[DENSE + 60 + i])
        y = fma(b, y, w[DENSE + 40 + i])
        y = fma(a, y, w[DENSE + 20 + i])
        y = fma(b, y, w[DENSE + i])
        out[at + i] = fma(a, y, w[i])


@kernel
def apart(w, at, limits):
    """Contact function of the enclosing ellipsoids in the state w[at : at + 20]: negative where they overlap."""
    q0, q1, q2, q3 = w[at + 6], w[at + 7], w[at + 8], w[at + 9]
    A11, A12, A13, A21, A22, A23, A31, A32, A33 = rotation_of_quaternion(q0, q1, q2, q3)
    p0, p1, p2, p3 = w[at + 13], w[at + 14], w[at + 15], w[at + 16]
    e0, e1, e2, e3 = quaternion_product(q0, -q1, -q2, -q3, p0, p1, p2, p3)
    C11, C12, C13, C21, C22, C23, C31, C32, C33 = rotation_of_quaternion(e0, e1, e2, e3)
    rx, ry, rz = w[at], w[at + 1], w[at + 2]
    x, y, z = A11 * rx + A21 * ry + A31 * rz, A12 * rx + A22 * ry + A32 * rz, A13 * rx + A23 * ry + A33 * rz
    return ellipsoids_touch(
        limits[2], limits[3], limits[4], limits[5], limits[6], limits[7],
        x, y, z, C11, C12, C13, C21, C22, C23, C31, C32, C33,
    )  # fmt: skip


@kernel
def touching_fraction(w, out, at, limits):
    """Fraction of the step at which the bodies touch, by halving; the state there goes to out[at : at + 20]."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        interpolate(w, middle, out, at)
        if apart(out, at, limits) < 0.0:
            high = middle
        else:
            low = middle
    interpolate(w, high, out, at)
    return high


@kernel
def ending(w, limits, gm):
    """How the step that was just made leaves the pair: DONE (go on), CONTACT or ESCAPE."""
    rx, ry, rz = w[END], w[END + 1], w[END + 2]
    square = rx * rx + ry * ry + rz * rz
    if square < limits[NEAR] * limits[NEAR] and apart(w, END, limits) < 0.0:
        return CONTACT
    if square > limits[FAR] * limits[FAR]:
        vx, vy, vz = w[END + 3], w[END + 4], w[END + 5]
        if 0.5 * (vx * vx + vy * vy + vz * vz) > gm / math.sqrt(square):
            return ESCAPE
    return DONE


@kernel
def longer(h, error, most):
    """Next step after one with this error norm, at most `most` times as long."""
    factor = most if error < 1e-8 else min(most, max(0.3, 0.9 * error**-0.125))
    return h * factor


@kernel
def shorter(h, error):
    """Next try after a step whose error norm was above 1 or not a number."""
    return h * max(0.2, 0.9 * error**-0.125) if error < 1e30 else 0.2 * h


@kernel
def write_samples(w, out, done, wanted, spacing, t, lost, h, fraction):
    """Read every sample up to the given fraction of the step off the interpolant; returns how many are there now."""
    while done < wanted:
        at = ((done * spacing - t) + lost) / h
        if at > fraction:
            break
        interpolate(w, at, out, done * SIZE)
        done += 1
    return done


@kernel
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
    t, lost, h = progress[TIME], progress[TIME_ERROR], progress[STEP]
    done, attempts, most, status = int(progress[SAMPLES]), 0, MOST, DONE
    rates(model, w, 0, SIZE, c, k)
    progress[EVALUATIONS] += 1
    while done < wanted and status == DONE:
        if progress[STEPS] >= max_steps or attempts >= block_steps:
            status = STEP_LIMIT if progress[STEPS] >= max_steps else PAUSED
            break
        attempts += 1
        progress[STEPS] += 1
        progress[EVALUATIONS] += 12
        error = attempt(model, w, h, c, k)
        if not error <= 1.0:
            most, h = 1.0, shorter(h, error)
            if abs(h) < 1e-13 * abs(t) or abs(h) < SHORTEST_S:
                status = STEP_FAILURE
            continue
        step = h - lost
        after = t + step
        status = ending(w, limits, k[0])
        if status == CONTACT or (after - done * spacing) * spacing >= 0.0:
            prepare_dense(model, w, h, c, k)
            progress[EVALUATIONS] += 3
        fraction = touching_fraction(w, out, wanted * SIZE, limits) if status == CONTACT else 1.0
        done = write_samples(w, out, done, wanted, spacing, t, lost, h, fraction)
        if done >= wanted:  # the last step may pass the end of the window; what happens there does not count
            status = DONE
        if status == CONTACT:
            t += fraction * h
            for i in range(SIZE):
                out[done * SIZE + i] = out[wanted * SIZE + i]
            break
        take_end(w)
        t, lost = after, (after - t) - step
        h, most = longer(h, error, most), MOST
    progress[TIME], progress[TIME_ERROR], progress[STEP], progress[SAMPLES] = t, lost, h, done
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


@kernel
def fixed_steps(model, w, h, count, c, k):
    """Make `count` equal steps of length h from w[:20] without error control; returns the sum of |r| over their starts.

    A smooth function of its start, which a Newton search needs; nothing is interpolated.
    """
    model = numba.literally(model)
    rates(model, w, 0, SIZE, c, k)
    total = 0.0
    for _ in range(count):
        total += math.sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2])
        attempt(model, w, h, c, k)
        take_end(w)
    return total


def _wrappers(number: int) -> str:
    return f'''"""Entry points of the gravity model {number}: written by binarydyn.dynamics.rungekutta."""

from binarydyn._jit import kernel
from binarydyn.dynamics import rungekutta


@kernel
def advance(w, progress, out, spacing, max_steps, block_steps, limits, c, k):
    return rungekutta.advance({number}, w, progress, out, spacing, max_steps, block_steps, limits, c, k)


@kernel
def drifts(out, rows, c, k):
    return rungekutta.drifts({number}, out, rows, c, k)


@kernel
def fixed_steps(w, h, count, c, k):
    return rungekutta.fixed_steps({number}, w, h, count, c, k)
'''


@cache
def entry(number: int):
    """Compiled entry points `advance`, `drifts` and `fixed_steps` of one gravity model; each is cached on disk."""
    return written_module(f"runge_kutta_model_{number}", lambda: _wrappers(number))
