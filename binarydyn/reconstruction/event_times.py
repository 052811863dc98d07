"""Modelled times of measured events as functions of what is unknown: of many guesses at once, without a search.

Each measured event is followed by its kind and body from the time at which it was measured; a guess has it at the
nearest conjunction of that kind.  What was timed is the mean of the contacts, or the middle of a dip of light by one of
several definitions; of these the mean of both scattering laws, as modelled_middles.py has it, and half their difference
is one sigma of a cause that all such times share.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..batch.ellipsoids import Ellipsoids
from ..batch.starts import Bodies
from ..constants import DAY_S, HOUR_S
from ..errors import InputError
from ..observing.modelled_middles import CAUSES, named_columns
from ..sampling.members import cores
from ..scenario import Scenario
from ..sky.dip_causes import BOTH
from ..sky.event_search import BODIES, KINDS
from ..sky.geometry import Sight, Sky
from ..timing.mid_times import MidTimes, readings
from .passages import contacts
from .runs import GuessedMotion, Runs
from .unknowns import Unknowns

_MARGIN_S = 2.0 * HOUR_S
_SLOPE_S = 600.0
"""Over which the turning of a line of sight is taken."""
_BLOCK = 256
"""Guesses that are run together: their samples are 100 MB in 60 days."""


@dataclass(frozen=True)
class Passing:
    """n guesses' contacts of m events, s from t0: first_s, last_s (n, m), of the whole where an event has two causes;
    shown (n, m): whether there is one at all."""

    first_s: np.ndarray
    last_s: np.ndarray
    shown: np.ndarray


@dataclass(frozen=True)
class EventModel:
    """m measured events.  observed_s (m,): times at the system, s from t0."""

    motion: GuessedMotion
    mids: MidTimes
    sight: Sight
    observed_s: np.ndarray

    @classmethod
    def of(
        cls,
        scenario: Scenario,
        mids: MidTimes,
        unknowns: Unknowns | None = None,
        refine: float = 1.0,
        workers: int | None = None,
    ) -> EventModel:
        """Of measured mid-times; unknowns: None for those of the scenario.  refine: by what factor the steps of all
        runs are shorter.  Errors: InputError, as Sky and GuessedMotion."""
        sky, first, last = Sky.of(scenario), float(mids.seen_s.min()), float(mids.seen_s.max())
        margin = sky.light_time_s + 0.5 * DAY_S
        sight = Sight(sky, min(first, 0.0) - 1.5 * margin, max(last, 0.0) + margin)
        time = readings(mids, sight).time_s
        before, after = (float(max(np.max(side * time), 0.0) + _MARGIN_S) / DAY_S for side in (-1.0, 1.0))
        motion = GuessedMotion(scenario, unknowns or Unknowns.of(scenario), (before, after), refine, workers)
        return cls(motion, mids, sight, time)

    @property
    def unknowns(self) -> Unknowns:
        """What is guessed."""
        return self.motion.unknowns

    @cached_property
    def _lines(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Directions to the Sun and to the observer, their rates, both (2, m, 3), and the widening (2, m) of the
        penumbra."""
        time, sides = self.observed_s, (self.sight.sunward, self.sight.earthward)
        lines = np.array([side(time) for side in sides])
        slopes = np.array([(side(time + _SLOPE_S) - side(time - _SLOPE_S)) / (2.0 * _SLOPE_S) for side in sides])
        disc = self.motion.scenario.observer.sunlight == "disc"
        sun = np.tan(self.sight.sun_radius_rad(time)) if disc else np.zeros(len(time))
        return lines, slopes, np.array([sun, np.zeros(len(time))])

    @cached_property
    def _causes(self) -> np.ndarray:
        """(m, 2) whether each event is an eclipse, an occultation, or both."""
        return np.column_stack([(self.mids.kind == kind) | (self.mids.kind == BOTH) for kind in KINDS])

    def passing(self, runs: Runs) -> Passing:
        """Contacts in runs."""
        count, m = len(runs.why), len(self.observed_s)
        ends, gaps = np.full((count, m, 2, 2), np.nan), np.full((count, m, 2), np.nan)
        lines, slopes, widening = self._lines
        front = self.mids.body == BODIES[0]
        semi = [_semi_axes_m(body) for body in (runs.starts.primary, runs.starts.secondary)]
        steps = np.array([runs.before.step_s, runs.after.step_s])

        def some(at: slice) -> None:
            contacts(
                runs.before.samples[at], runs.after.samples[at], steps, runs.turns[at], lines, slopes, self._causes,
                self.observed_s, front, widening, semi[0][at], semi[1][at], ends[at], gaps[at],
            )  # fmt: skip

        _in_threads(some, count, self.motion.workers)
        shown = gaps < 0.0
        here = np.where(shown.any(axis=2, keepdims=True), shown, self._causes)
        first = np.min(np.where(here, ends[..., 0], np.inf), axis=2)
        last = np.max(np.where(here, ends[..., 1], -np.inf), axis=2)
        return Passing(first, last, np.any(shown, axis=2))

    def predicted_s(self, u: np.ndarray) -> np.ndarray:
        """(n, m) of guesses u (n, p), s from t0 at the system; a row of nan where a guess does not last.

        An event that a guess does not show (`shown`) has the instant at which the outlines are nearest.
        """
        u = np.atleast_2d(u)
        return np.concatenate([self._predicted_s(u[k : k + _BLOCK]) for k in range(0, len(u), _BLOCK)])

    def _predicted_s(self, u: np.ndarray) -> np.ndarray:
        runs = self.motion.runs(u)
        found = self.passing(runs)
        return np.where(runs.lasts[:, None], 0.5 * (found.first_s + found.last_s), np.nan)

    @property
    def columns_s(self) -> np.ndarray:
        """(m, k) by how much one sigma of each of `causes` moves the events together."""
        columns = self._named
        return columns[:, np.any(columns != 0.0, axis=0)]

    @property
    def causes(self) -> tuple[str, ...]:
        """Names (k,) of the columns."""
        return tuple(np.array(CAUSES)[np.any(self._named != 0.0, axis=0)].tolist())

    @cached_property
    def _named(self) -> np.ndarray:
        none = np.zeros(len(self.mids))
        return named_columns(self.mids, none, none)

    def shown(self, u: np.ndarray) -> np.ndarray:
        """(n, m) whether a guess shows the event."""
        runs = self.motion.runs(np.atleast_2d(u))
        return runs.lasts[:, None] & self.passing(runs).shown

    def why(self, u: np.ndarray) -> np.ndarray:
        """(n,) empty where a guess lasts, else a word (refused, not converged, miss, grazing, ends early) and the
        reason."""
        return self.motion.runs(np.atleast_2d(u)).why

    def change_s(self, u: np.ndarray) -> np.ndarray:
        """(n,) period change in the window of the data."""
        return self.change_over_s(u, self.motion.days)

    def change_over_s(self, u: np.ndarray, days: tuple[float, float] | None = None) -> np.ndarray:
        """(n,) period after less period before, in windows of some days before and after t0; None: of [simulation]."""
        how = self.motion.scenario.simulation
        runs = self.motion.runs(np.atleast_2d(u))
        return np.diff(self.motion.periods_s(runs, days or (how.days_before, how.days_after)), axis=0)[0]


def _semi_axes_m(bodies: Bodies) -> np.ndarray:
    """(n, 3); InputError for other bodies than ellipsoids."""
    if not isinstance(bodies, Ellipsoids):
        raise InputError(
            "primary or secondary",
            "a mesh or a layered body is given, allowed here are ellipsoids; give its semi_axes_m",
        )
    return np.ascontiguousarray(bodies.semi_axes_m.T)


def _in_threads(some, count: int, workers: int | None) -> None:
    """Parts of n guesses side by side."""
    parts = max(1, min(workers or cores(), count))
    edges = [count * k // parts for k in range(parts + 1)]
    with ThreadPoolExecutor(parts) as threads:
        for _ in threads.map(some, [slice(a, b) for a, b in zip(edges, edges[1:], strict=False)]):
            pass
