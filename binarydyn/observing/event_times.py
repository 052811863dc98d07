"""From measured event times to the period change of a scenario's pair.

The fit (timing/fit.py) knows an ellipse that turns evenly, and times of conjunctions.  What was timed instead, and how
wrong that may be, is modelled on the scenario: its nominal system and others that may be the real one (worlds.py) give
each event its offset and errors (modelled_middles.py), and the apsidal rate its prior.  The answer is the change in the
window of the data; what such systems' mean period does from there to the windows of [simulation] is told beside.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..prediction.solar_tide import left_out
from ..scenario import Scenario
from ..sky.geometry import Sky
from ..timing.answer import Fit, Timing
from ..timing.cycle_count import sides_of
from ..timing.doubts import doubts
from ..timing.fit import timing
from ..timing.mid_times import MidTimes, Readings, readings, sight_for
from ..timing.mixture import Mixture
from ..timing.terms import TURN
from .modelled_middles import Matched, middles_for
from .modelling_doubts import modelling_doubts
from .reference import Reference
from .worlds import MEMBERS

_MARGIN_S = 2.0 * HOUR_S


@dataclass(frozen=True)
class TimingFit:
    """What measured mid-times say.

    readings: what the fit saw, of conjunctions.  matched: which simulated events these are; None without simulation.
    """

    reference: Reference
    mids: MidTimes
    readings: Readings
    matched: Matched | None
    timing: Timing
    robust: bool

    @property
    def scenario(self) -> Scenario:
        """Whose pair it is."""
        return self.reference.scenario

    @property
    def sky(self) -> Sky:
        """From where it is seen."""
        return self.reference.sky

    @property
    def fit(self) -> Fit:
        """With the heaviest count of turns."""
        return self.timing.fit

    @property
    def change(self) -> Mixture:
        """The period change in the window of the data, s, over all counts of turns."""
        return self.fit.change

    @property
    def change_sigma_s(self) -> float:
        """Of the same."""
        return self.change.sigma

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a reader must know."""
        before, after = (self.fit.period_h(side) * HOUR_S for side in ("before", "after"))
        return (*self.doubts, *left_out(self.scenario, before, after, self.change_sigma_s))

    @property
    def doubts(self) -> tuple[str, ...]:
        """Those of the fit, of what was timed, and of its file."""
        of_model = modelling_doubts(self.reference, self.mids, self.readings, self.matched, self.fit)
        return (*doubts(self.timing), *of_model, *self.mids.warnings)


def timing_fit(
    scenario: Scenario,
    mids: MidTimes,
    robust: bool = False,
    check: bool = True,
    watch: Callable[[str, float], None] | None = None,
) -> TimingFit:
    """Count and fit, with times as simulated systems have them.

    robust: with errors of Student's t.  check: False for no simulation: times are then taken for conjunctions.
    Errors: InputError for too few events, or where the scenario has no place.
    """
    return fitted_times(reference_for(scenario, mids, MEMBERS if check else 0, watch), mids, robust)


def reference_for(
    scenario: Scenario, mids: MidTimes, members: int = MEMBERS, watch: Callable[[str, float], None] | None = None
) -> Reference:
    """Simulated systems over the days of some times.  Errors: InputError, also for too few times."""
    sky = Sky.of(scenario)
    seen = readings(mids, sight_for(sky, mids))
    sides_of(seen)
    time = seen.time_s
    before, after = (float(np.max(np.append(side * time, 0.0)) + _MARGIN_S) / DAY_S for side in (-1.0, 1.0))
    return Reference.of(scenario, (before, after), members, watch)


def fitted_times(reference: Reference, mids: MidTimes, robust: bool = False) -> TimingFit:
    """The same with simulated systems that are there already, and cover the times.

    Which event a time belongs to is first told by the nearest in time, then by the counted turns.
    """
    mids, loss = mids.sorted(), "student" if robust else "gaussian"
    found_by = reference.found
    seen = readings(mids, found_by.nominal.sight if found_by else sight_for(reference.sky, mids))
    if reference.found is None:
        found = timing(seen, mids.sigma_s, mids.group, None, reference.expected, loss)
        return TimingFit(reference, mids, seen, None, found, robust)
    matched = middles_for(mids, seen.time_s, reference.found)
    found = timing(seen, mids.sigma_s, mids.group, matched.middles, reference.expected, loss)
    again = middles_for(mids, seen.time_s, reference.found, _since_t0(found.fit))
    if not np.array_equal(again.rows, matched.rows):
        matched = again
        found = timing(seen, mids.sigma_s, mids.group, matched.middles, reference.expected, loss)
    return TimingFit(reference, mids, seen.earlier(matched.middles.offset_s), matched, found, robust)


def _since_t0(fit: Fit) -> np.ndarray:
    """(n,) counted longitudes, where that at t0 is within half a turn of 0."""
    return fit.counted_rad - TURN * np.round(fit.values["longitude"] / TURN)
