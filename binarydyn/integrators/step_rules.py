"""Step control: which steps are taken, how long the next one is, what ends a run, and how many steps of one length fit.

The one place, but for the norm up to which Gauss's method takes a step (gauss_runs.TOO_LARGE).  A run alone
(rungekutta.py), eight in lanes (lane_control.py) and Gauss's method (gauss_runs.py) ask the same functions, which take
and return numbers and do not branch; the splitting, alone (split_runs.py) or for thousands (batch/step_numbers.py),
makes steps of one length.  Adaptive control after Hairer, Norsett & Wanner 1993 (Solving Ordinary Differential
Equations I, 2nd ed., sec. II.4): the norm of a step's error is 1 at the tolerance.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from .._jit import inlined
from ..motion.layout import RATE1, RATE2
from ..motion.trajectory import STATUSES
from .splitting import MOST_TURN, distance
from .tableau_splitting import LONGEST_DRIFT

DONE, CONTACT, ESCAPE, STEP_FAILURE, STEP_LIMIT = range(len(STATUSES))
PAUSED = len(STATUSES)
"""A block is over, the run is not."""

FARTHEST = 50.0
"""Separation, in parts of that at the start, beyond which an unbound pair has parted; not under the Sun's tide."""
SAFETY = 0.9
MOST = 6.0
"""How many times as long as the last a step may be; after a refusal it may not be longer at all."""
LEAST = 0.2
"""Of a refused step: the shortest to try next, and the one where the error is no number to go by."""
SHORTEST_S, SHORTEST_SHARE = 1e-9, 1e-13
"""A step below these, the latter of the time itself, goes nowhere."""
HALVINGS = 40
"""Of a step in which the bodies touch."""
CALM = 0.8, 1.6
CALM_MOST = 2.0
"""Gauss's method keeps a step within these factors of the best one, so that a calm run has one step."""


@inlined
def taken(error):
    """Whether a step of this error norm is; one whose norm is no number is not."""
    return error <= 1.0


@inlined
def fitting(error):
    """The factor by which a step of this error norm could be longer: 0.9 error^(-1/8), by three square roots."""
    return SAFETY / math.sqrt(math.sqrt(math.sqrt(error)))


@inlined
def longer(h, factor, most):
    """The step after one that was taken, whose factor is above 0.67."""
    return h * (factor if factor < most else most)


@inlined
def shorter(h, error, factor):
    """The next try after a step that was refused, for its error norm or because that is not a number."""
    least = factor if factor > LEAST else LEAST
    return h * (least if error < 1e30 else LEAST)


@inlined
def kept(h, factor):
    """The next step of a method that changes it as rarely as it can."""
    return h if CALM[0] <= factor <= CALM[1] else longer(h, factor, CALM_MOST)


@inlined
def too_short(h, t):
    """Whether a step no longer moves the time."""
    return (abs(h) < SHORTEST_SHARE * abs(t)) | (abs(h) < SHORTEST_S)


@inlined
def clock(t, lost, h):
    """Time after a step and its rounding error, which the next step takes back (Kahan 1965, CACM 8, 40)."""
    step = h - lost
    after = t + step
    return after, (after - t) - step


@inlined
def halved(low, high, touches):
    """The half of a step's part in which the bodies touch, from whether they do in the middle of it."""
    middle = 0.5 * (low + high)
    return (low, middle) if touches else (middle, high)


@inlined
def is_due(after, done, spacing):
    """Whether sample `done` lies within a step that ends at the time `after`."""
    return (after - done * spacing) * spacing >= 0.0


@inlined
def ahead(done, spacing, t, lost):
    """Time from the start of a step, t and its rounding error, to the sample `done`."""
    return (done * spacing - t) + lost


@inlined
def whereabouts(rx, ry, rz, vx, vy, vz, near2, far2, gm):
    """DONE (go on), ESCAPE, or CONTACT where the bounding spheres overlap and a closer look must decide.

    From squares of the radii; far away only an unbound orbit is an escape.
    """
    square = rx * rx + ry * ry + rz * rz
    unbound = 0.5 * (vx * vx + vy * vy + vz * vz) > gm / math.sqrt(square)
    gone = ESCAPE if unbound else DONE
    far = gone if square > far2 else DONE
    return CONTACT if square < near2 else far


@inlined
def used_up(steps, max_steps, attempts, block_steps):
    """STEP_LIMIT, PAUSED, or DONE (go on)."""
    return STEP_LIMIT if steps >= max_steps else PAUSED if attempts >= block_steps else DONE


STEP_TURN, STEP_SPIN = 0.48, 2.4
"""Radians that the orbit and the faster spin turn in a step of the splitting: 0.2 m along-track in 60 days."""
RESONANCE = 0.45, 0.55
"""Steps per cycle of the primary's forcing, 2 (w1 - n), between which the step beats with it (measured: 0.04 s in the
period instead of 0.002); a step in between is shortened to the lower one.
"""


def steps_of(
    y: np.ndarray, gm_m3_s2, time_s: float, whole: Callable, finer: float = 1.0, at_least: float = 0.0
) -> np.ndarray:
    """Numbers of steps of the splitting over a time from states y (20, ...): within STEP_TURN and STEP_SPIN and off the
    resonance, `finer` times what that needs and `at_least` so many.

    whole: makes whole numbers of what is needed.
    """
    away = distance(y)
    turn = np.sqrt(gm_m3_s2 / away) / away
    primary, secondary = distance(y[RATE1]), distance(y[RATE2])
    spin = np.maximum(turn, np.maximum(primary, secondary))
    steps = whole(np.maximum(finer * time_s * np.maximum(turn / STEP_TURN, spin / STEP_SPIN), at_least))
    low, high = RESONANCE
    cycles = time_s * np.abs(primary - turn) / np.pi
    beats = (low * steps < cycles) & (cycles < high * steps)
    return np.where(beats, whole(cycles / low), steps)


def nearest_m(gm_m3_s2, h):
    """Distance inside which a drift of the splitting's step h would turn farther than its series hold for."""
    return np.cbrt(gm_m3_s2 * (LONGEST_DRIFT * np.abs(h) / MOST_TURN) ** 2)
