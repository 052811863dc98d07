"""What eight lanes make of the steps they tried: the decisions of rungekutta.advance, side by side.

Each lane keeps what a run remembers in rows of the work array (motion/layout.py); rare ends are left to the caller.
"""

from __future__ import annotations

from .._jit import kernel, wide_vectors
from ..motion.layout import (
    AFTER,
    AFTER_ERROR,
    AT,
    DUE,
    END,
    ERROR,
    EVALUATIONS,
    EVENT,
    FACTOR,
    FAR2,
    GM,
    GROWTH,
    LANES,
    NEAR2,
    NEXT,
    PARAMETERS,
    PENDING,
    REACH,
    RUN,
    SAMPLES,
    STEP,
    STEPS,
    TAKEN,
    TIME,
    TIME_ERROR,
)
from .step_rules import DONE, MOST, STEP_FAILURE, ahead, clock, is_due, longer, shorter, taken, too_short, whereabouts


@kernel
def weigh(w, spacing):
    """After an attempt: which lanes take their step, how long the next one is, who has samples due or needs a look."""
    wide_vectors()
    for l in range(LANES):
        error, factor, h = w[ERROR * LANES + l], w[FACTOR * LANES + l], w[(RUN + STEP) * LANES + l]
        t, lost = w[(RUN + TIME) * LANES + l], w[(RUN + TIME_ERROR) * LANES + l]
        w[(RUN + STEPS) * LANES + l] += 1.0
        w[(RUN + EVALUATIONS) * LANES + l] += 12.0
        good = taken(error)
        after, after_error = clock(t, lost, h)
        due = is_due(after, w[(RUN + SAMPLES) * LANES + l], spacing)
        e = END * LANES + l
        end = whereabouts(
            w[e], w[e + LANES], w[e + 2 * LANES], w[e + 3 * LANES], w[e + 4 * LANES], w[e + 5 * LANES],
            w[NEAR2 * LANES + l], w[FAR2 * LANES + l], w[(PARAMETERS + GM) * LANES + l],
        )  # fmt: skip
        refused = shorter(h, error, factor)
        stuck = STEP_FAILURE if too_short(refused, t) else DONE
        w[AFTER * LANES + l], w[AFTER_ERROR * LANES + l] = after, after_error
        w[NEXT * LANES + l] = longer(h, factor, w[(RUN + GROWTH) * LANES + l]) if good else refused
        w[EVENT * LANES + l] = end if good else stuck
        w[DUE * LANES + l] = 1.0 if good & due else 0.0
        w[TAKEN * LANES + l] = 1.0 if good else 0.0
        w[REACH * LANES + l] = 1.0


@kernel
def look_ahead(w, spacing, wanted):
    """Where in its step the next sample of each lane lies, and whether it is wanted."""
    wide_vectors()
    for l in range(LANES):
        done, t, lost = (w[(RUN + SAMPLES) * LANES + l], w[(RUN + TIME) * LANES + l], w[(RUN + TIME_ERROR) * LANES + l])
        at = ahead(done, spacing, t, lost) / w[(RUN + STEP) * LANES + l]
        waits = w[DUE * LANES + l] if at <= w[REACH * LANES + l] else 0.0
        w[PENDING * LANES + l] = waits if done < wanted else 0.0
        w[AT * LANES + l] = at


@kernel
def settle(w):
    """Set the clocks of the lanes that take their step, and the next step of all."""
    wide_vectors()
    for l in range(LANES):
        taken, t, lost = w[TAKEN * LANES + l] > 0.0, (RUN + TIME) * LANES + l, (RUN + TIME_ERROR) * LANES + l
        after, after_error, old, old_error = w[AFTER * LANES + l], w[AFTER_ERROR * LANES + l], w[t], w[lost]
        w[t], w[lost] = after if taken else old, after_error if taken else old_error
        w[(RUN + GROWTH) * LANES + l] = MOST if taken else 1.0
        w[(RUN + STEP) * LANES + l] = w[NEXT * LANES + l]
