"""What eight lanes make of the steps they tried: the decisions of rungekutta.advance, without branches.

Each lane keeps what a run remembers in rows of the work array; numbers decide, and rare ends are left to the caller.
"""

from __future__ import annotations

import math

from .._jit import kernel, wide_vectors
from ..motion.layout import END
from .lanes import AT, ERROR, FACTOR, LANES, PARAMETERS, STEPS, SUMS, TAKEN
from .rungekutta import MOST, SHORTEST_S

TIME, LOST, GROWTH, COUNT, EVALUATED, SAMPLED, NEAR2, FAR2, AFTER, LOST_AFTER, NEXT, DUE, EVENT, PENDING, REACH = range(
    SUMS + 4, SUMS + 19
)
"""Rows: time and its rounding error, how much longer the next step may be, attempts, evaluations, samples taken; the
squares of the radii for contact and escape; time after the step and its error, the next step, whether samples are due,
what else is the matter, whether a sample waits at AT, the fraction of the step up to which it counts.
"""
CLOSE, GONE, STUCK = 1.0, 2.0, 3.0
"""Events: within the radius where contact is looked for, escaping, a step that no longer moves the time."""


@kernel
def weigh(w, spacing):
    """After an attempt: which lanes take their step, how long the next one is, who has samples due or needs a look."""
    wide_vectors()
    for l in range(LANES):
        error, factor, h = w[ERROR * LANES + l], w[FACTOR * LANES + l], w[STEPS * LANES + l]
        t, lost, most = w[TIME * LANES + l], w[LOST * LANES + l], w[GROWTH * LANES + l]
        w[COUNT * LANES + l] += 1.0
        w[EVALUATED * LANES + l] += 12.0
        taken = 1.0 if error <= 1.0 else 0.0
        step = h - lost
        after = t + step
        e = END * LANES + l
        rx, ry, rz = w[e], w[e + LANES], w[e + 2 * LANES]
        vx, vy, vz = w[e + 3 * LANES], w[e + 4 * LANES], w[e + 5 * LANES]
        square = rx * rx + ry * ry + rz * rz
        unbound = 0.5 * (vx * vx + vy * vy + vz * vz) > w[PARAMETERS * LANES + l] / math.sqrt(square)
        gone = GONE if unbound else 0.0
        event = gone if square > w[FAR2 * LANES + l] else 0.0
        event = CLOSE if square < w[NEAR2 * LANES + l] else event
        longer = factor if factor > 0.3 else 0.3
        longer = longer if longer < most else most
        shorter = factor if factor > 0.2 else 0.2
        shorter = shorter if error < 1e30 else 0.2
        refused = shorter * h
        size, moved = abs(refused), 1e-13 * abs(t)
        stuck = STUCK if size < moved else 0.0
        stuck = STUCK if size < SHORTEST_S else stuck
        w[AFTER * LANES + l] = after
        w[LOST_AFTER * LANES + l] = (after - t) - step
        w[NEXT * LANES + l] = h * longer if error <= 1.0 else refused
        w[EVENT * LANES + l] = event if error <= 1.0 else stuck
        w[DUE * LANES + l] = taken if (after - w[SAMPLED * LANES + l] * spacing) * spacing >= 0.0 else 0.0
        w[TAKEN * LANES + l] = taken
        w[REACH * LANES + l] = 1.0


@kernel
def look_ahead(w, spacing, wanted):
    """Where in its step the next sample of each lane lies, and whether it is wanted."""
    wide_vectors()
    for l in range(LANES):
        done, h = w[SAMPLED * LANES + l], w[STEPS * LANES + l]
        at = ((done * spacing - w[TIME * LANES + l]) + w[LOST * LANES + l]) / h
        waits = w[DUE * LANES + l] if at <= w[REACH * LANES + l] else 0.0
        w[PENDING * LANES + l] = waits if done < wanted else 0.0
        w[AT * LANES + l] = at


@kernel
def settle(w):
    """Set the clocks of the lanes that take their step, and the next step of all."""
    wide_vectors()
    for l in range(LANES):
        taken = w[TAKEN * LANES + l] > 0.0
        after, lost, t, old = w[AFTER * LANES + l], w[LOST_AFTER * LANES + l], w[TIME * LANES + l], w[LOST * LANES + l]
        w[TIME * LANES + l] = after if taken else t
        w[LOST * LANES + l] = lost if taken else old
        w[GROWTH * LANES + l] = MOST if taken else 1.0
        w[STEPS * LANES + l] = w[NEXT * LANES + l]
