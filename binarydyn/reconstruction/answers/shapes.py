"""What the motions of draws look like: eccentricity before and after, apsidal rate, libration, velocity change, change.

By the definitions of `predict`, in the windows of the data; the period change also in those of [simulation].  Bodies
are the nominal ones where a definition asks for their masses, which none of these does but the node.
"""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from ...columns import turned
from ...constants import HOUR_S
from ...errors import InputError
from ...impact.frame import axes_of
from ...motion.layout import POSITION, VELOCITY
from ...motion.trajectory import Trajectory
from ...observables.orbit import orbit_shape
from ...observables.orientation import attitude
from ..runs import GuessedMotion, Runs, Stretch

CHANGE, CHANGE_AT_LENGTH = "period_change_s", "period_change_simulation_s"
SHAPES = (
    "eccentricity_before",
    "eccentricity_after",
    "apsidal_precession_after_deg_day",
    "libration_max_after_deg",
    "along_track_dv_mm_s",
    "period_before_h",
    CHANGE,
    CHANGE_AT_LENGTH,
)
"""Of each draw, beside its unknowns; the last is the change in the windows of [simulation]."""
_BLOCK = 256


def shapes_of(motion: GuessedMotion, u: np.ndarray, wanted: np.ndarray, at_length: bool) -> dict[str, np.ndarray]:
    """Arrays (n,) by SHAPES, of draws u (n, p) that are wanted (n,); nan elsewhere and where one is not defined.

    at_length: whether the change in the windows of [simulation] is asked for too.
    """
    found = {name: np.full(len(u), np.nan) for name in SHAPES}
    places = np.flatnonzero(wanted)
    for first in range(0, len(places), _BLOCK):
        at = places[first : first + _BLOCK]
        runs = motion.runs(u[at])
        for name, values in (_orbits(motion, runs) | _periods(motion, runs, at_length)).items():
            found[name][at] = values
    return found


def _periods(motion: GuessedMotion, runs: Runs, at_length: bool) -> dict[str, np.ndarray]:
    before, after = motion.periods_s(runs, motion.days)
    found = {"period_before_h": before / HOUR_S, CHANGE: after - before}
    if at_length:
        how = motion.scenario.simulation
        before, after = motion.periods_s(runs, (how.days_before, how.days_after))
        found[CHANGE_AT_LENGTH] = after - before
    return found


def _orbits(motion: GuessedMotion, runs: Runs) -> dict[str, np.ndarray]:
    rows = [_row(motion, runs, i) if lasts else np.full(4, np.nan) for i, lasts in enumerate(runs.lasts)]
    axes = axes_of(runs.y_before[POSITION], runs.y_before[VELOCITY])
    moved = turned(axes, runs.y_after[VELOCITY] - runs.y_before[VELOCITY])[0]
    return dict(zip(SHAPES[:4], np.array(rows).T, strict=True)) | {SHAPES[4]: 1e3 * moved}


def _row(motion: GuessedMotion, runs: Runs, i: int) -> np.ndarray:
    """(4,) of one draw."""
    before, after = (_trajectory(motion, window, i) for window in (runs.before, runs.after))
    found = np.full(4, np.nan)
    with suppress(InputError):
        found[0] = orbit_shape(before).eccentricity
    with suppress(InputError):
        shape = orbit_shape(after)
        rate = shape.apsidal_precession_deg_day
        found[1:3] = shape.eccentricity, np.nan if rate is None else rate
        found[3] = attitude(after).libration_max_deg
    return found


def _trajectory(motion: GuessedMotion, window: Stretch, i: int) -> Trajectory:
    order = slice(None) if window.step_s > 0.0 else slice(None, None, -1)
    time, y = window.time_s[order], window.samples[i][order]
    return Trajectory(motion.nominal, np.ascontiguousarray(time), np.ascontiguousarray(y), "completed", 0.0, 0.0, 0, 0)
