"""Modelled times of measured events as functions of what is unknown: of many guesses at once, without a search.

Each measured event is followed by its kind and body from the time at which it was measured; a guess has it at the
nearest conjunction of that kind.  What was timed is the mean of the contacts, or the middle of a dip of light by one of
several definitions; of these the mean of both scattering laws, as modelled_middles.py has it, and half their difference
is one sigma of a cause that all such times share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..batch.ellipsoids import Ellipsoids
from ..constants import DAY_S, HOUR_S
from ..errors import InputError
from ..observing.modelled_middles import CAUSES, named_columns
from ..scenario import Scenario
from ..sky.geometry import Sight, Sky
from ..timing.mid_times import DEFINITIONS, MidTimes, readings
from .meshes.searched import SearchedEvents
from .runs import GuessedMotion
from .timed import TimedEvents
from .unknowns import Unknowns
from .window_change import WindowChange

_MARGIN_S = 2.0 * HOUR_S
_BLOCK = 256
"""Guesses that are run together: their samples are 100 MB in 60 days."""


@dataclass(frozen=True)
class EventModel:
    """m measured events, and the runs of guesses in which they are looked for."""

    motion: GuessedMotion
    events: TimedEvents

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
        runs are shorter; workers: threads, None for one a core.

        Errors: InputError, as Sky and GuessedMotion, and where the scenario's own numbers do not last.
        """
        sky, first, last = Sky.of(scenario), float(mids.seen_s.min()), float(mids.seen_s.max())
        margin = sky.light_time_s + 0.5 * DAY_S
        sight = Sight(sky, min(first, 0.0) - 1.5 * margin, max(last, 0.0) + margin)
        time = readings(mids, sight).time_s
        before, after = (float(max(np.max(side * time), 0.0) + _MARGIN_S) / DAY_S for side in (-1.0, 1.0))
        motion = GuessedMotion(scenario, unknowns or Unknowns.of(scenario), (before, after), refine, workers)
        nominal = motion.runs(np.zeros(len(motion.unknowns.names)))
        if not nominal.lasts[0]:
            raise InputError(scenario.place, f"its own numbers do not last over these days ({nominal.why[0]}); see "
                             "`predict`")  # fmt: skip
        told = mids, sight, time, np.zeros(len(mids), dtype=bool), scenario.observer.sunlight, workers
        plain = all(isinstance(body, Ellipsoids) for body in (nominal.starts.primary, nominal.starts.secondary))
        events = TimedEvents(*told) if plain else SearchedEvents(*told, motion=motion)
        return cls(motion, events.merged_in(nominal))

    @property
    def unknowns(self) -> Unknowns:
        """What is guessed."""
        return self.motion.unknowns

    @property
    def coarse(self) -> EventModel:
        """Middles of dips from half as many instants, in half the time: what that moves hardly depends on the guess."""
        events = self.events
        return replace(self, events=replace(events, epochs=(events.epochs + 1) // 2))

    @property
    def mids(self) -> MidTimes:
        """As they were measured."""
        return self.events.mids

    @property
    def observed_s(self) -> np.ndarray:
        """(m,) when each was measured, at the system, s from t0."""
        return self.events.time_s

    def predicted_s(self, u: np.ndarray) -> np.ndarray:
        """(n, m) of guesses u (n, p), s from t0 at the system; a row of nan where a guess does not last.

        An event that a guess does not show (`shown`) has the instant at which the outlines are nearest, a dip without
        light the middle of its contacts: so times stay smooth in the guess.
        """
        return self._by_block(u)[0]

    def shown(self, u: np.ndarray) -> np.ndarray:
        """(n, m) whether a guess shows the event."""
        return self._by_block(u)[1]

    def _by_block(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        u = np.atleast_2d(u)
        found = [self._of_block(u[k : k + _BLOCK]) for k in range(0, len(u), _BLOCK)]
        times, shown = zip(*found, strict=True)
        return np.concatenate(times), np.concatenate(shown)

    def _of_block(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        runs = self.motion.runs(u)
        times, shown = self.events.middles_s(runs)
        lasts = runs.lasts[:, None]
        return np.where(lasts, times.mean(axis=2), np.nan), lasts & shown

    @property
    def columns_s(self) -> np.ndarray:
        """(m, k) by how much one sigma of each of `causes` moves the events together."""
        return self._named[:, np.any(self._named != 0.0, axis=0)]

    @property
    def causes(self) -> tuple[str, ...]:
        """Names (k,) of the columns."""
        return tuple(np.array(CAUSES)[np.any(self._named != 0.0, axis=0)].tolist())

    @cached_property
    def _named(self) -> np.ndarray:
        """As the nominal guess has them."""
        events, runs = self.events, self.motion.runs(np.zeros(len(self.unknowns.names)))
        (own,), _ = events.middles_s(runs)
        both = [
            events.middles_s(runs, np.where(events.by_light, name, DEFINITIONS[-1]))[0][0].mean(axis=1)
            for name in DEFINITIONS[:2]
        ]
        return named_columns(events.mids, 0.5 * (own[:, 1] - own[:, 0]), 0.5 * (both[1] - both[0]))

    def why(self, u: np.ndarray) -> np.ndarray:
        """(n,) empty where a guess lasts, else a word (refused, not converged, miss, grazing, ends early) and the
        reason."""
        return self.motion.runs(np.atleast_2d(u)).why

    def change_s(self, u: np.ndarray) -> np.ndarray:
        """(n,) period change in the window of the data, as the orbit of a fit has it (timing/exact.py)."""
        u = np.atleast_2d(u)
        blocks = [self.motion.runs(u[k : k + _BLOCK]) for k in range(0, len(u), _BLOCK)]
        return np.concatenate([self.window_change.changes_s(runs) for runs in blocks])

    @cached_property
    def window_change(self) -> WindowChange:
        """In the window of the data, of runs."""
        return WindowChange.of(self.motion, self.events)

    def change_over_s(self, u: np.ndarray, days: tuple[float, float] | None = None) -> np.ndarray:
        """(n,) period after less period before, in windows of some days before and after t0; None: of [simulation]."""
        how = self.motion.scenario.simulation
        runs = self.motion.runs(np.atleast_2d(u))
        return self.motion.change_s(runs, days or (how.days_before, how.days_after))
