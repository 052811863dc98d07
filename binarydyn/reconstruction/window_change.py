"""The period change of runs in the window of measured events, by the orbit that a fit of event times has.

A mean period depends on its window where the orbit librates or tumbles, and a fit of events tells that of an ellipse
that turns evenly (timing/exact.py).  Here that is laid through the longitudes of many runs side by side, all around as
simulated systems have it (observing/worlds.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..motion.layout import POSITION
from ..observing.worlds import A_TURN, expected
from ..timing.cycle_count import sides_of
from ..timing.exact import ExactOrbit
from ..timing.mid_times import Readings
from ..timing.terms import TURN, Foreknown
from .passages import longitudes
from .runs import GuessedMotion, Runs
from .timed import TimedEvents


@dataclass(frozen=True)
class WindowChange:
    """seen: instants (n,), of which only these count; orbit: the nominal one through its longitudes then."""

    seen: Readings
    orbit: ExactOrbit
    known: Foreknown

    @classmethod
    def of(cls, motion: GuessedMotion, events: TimedEvents) -> WindowChange:
        """In the days from the first to the last of the events.  InputError where that is too short."""
        nominal = motion.runs(np.zeros(len(motion.unknowns.names)))
        every = motion.period_s / A_TURN
        time = every * np.arange(np.ceil(events.time_s.min() / every), np.floor(events.time_s.max() / every) + 1.0)
        time = time[time != 0.0]
        seen = Readings(time, np.zeros(len(time)), np.zeros(len(time)))
        sides_of(seen)
        known = expected(motion.begun)
        return cls(seen, ExactOrbit.through(seen, _counted_rad(nominal, time)[0], known), known)

    def changes_s(self, runs: Runs) -> np.ndarray:
        """(n,) of runs; nan where one does not last."""
        counted = np.where(runs.lasts[:, None], _counted_rad(runs, self.seen.time_s), np.nan)
        return self.orbit.changes_like_s(self.seen, counted, self.known)


def _wound_rad(samples: np.ndarray) -> np.ndarray:
    """(n, steps + 1) longitudes at samples, with the turns since t0."""
    x, y, _ = samples[:, :, POSITION].transpose(2, 0, 1)
    angle = np.unwrap(np.arctan2(y, x), axis=1)
    return angle - TURN * np.round(angle[:, :1] / TURN)


def _counted_rad(runs: Runs, time_s: np.ndarray) -> np.ndarray:
    """(n, k) longitudes of runs at times (k,), with the turns since t0."""
    found = np.empty((len(runs.why), len(time_s)))
    longitudes(runs.before.samples, runs.after.samples, runs.steps_s, time_s, found)
    for stretch, side in ((runs.before, time_s < 0.0), (runs.after, time_s >= 0.0)):
        order = np.argsort(stretch.time_s)
        for row, angle in zip(found, _wound_rad(stretch.samples), strict=True):
            rough = np.interp(time_s[side], stretch.time_s[order], angle[order])
            row[side] += TURN * np.round((rough - row[side]) / TURN)
    return found
