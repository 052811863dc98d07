"""From measured event times to the period change of a scenario's pair, with the error that the fit's model makes.

The fit (timing/fit.py) knows an ellipse that turns evenly.  What outlines, libration and the secondary's shape do
to the mid-times beyond that is measured on the scenario itself: the same events are taken from its simulation, without
noise, fitted in the same way, and the result is held against the period change that `predict` reports for the windows
of [simulation].  The difference is told as the model's error and added to the error of the change, not subtracted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..errors import ArgumentError, FewCyclesError, InputError
from ..impact import impact_on
from ..motion.state import oblate_term
from ..prediction.solar_tide import left_out
from ..prediction.windows import periods_s
from ..relaxed.start import Start, start
from ..scenario import Scenario
from ..scenario.tables.sampling import check_seed
from ..sky.events import KINDS
from ..sky.geometry import Sight, Sky
from ..timing.doubts import doubts
from ..timing.fit import Fit, Timing, timing
from ..timing.mid_times import SIGMA_S, MidTimes, Readings, mid_times_of, readings, sight_for
from ..timing.mixture import Mixture
from ..timing.terms import TURN, Foreknown
from .nights import check_counts, seen_events
from .timetable import check_days, event_run

APSIDAL_SHARE = 0.5
"""One sigma of the apsidal rate, in parts of that of an oblate primary: the secondary's shape changes it by so much."""
CHECKED_DAYS = 200.0
"""Longer campaigns are not simulated for the model error: it falls with their length."""
_MARGIN_S = 2.0 * HOUR_S


@dataclass(frozen=True)
class TimingFit:
    """What measured mid-times say.

    readings: what the fit saw.  bias_before_s, bias_change_s: of the same fit of the scenario's own events, against the
    simulated period before t0 and its change; None where the scenario does not show such events.
    """

    scenario: Scenario
    sky: Sky
    mids: MidTimes
    readings: Readings
    timing: Timing
    robust: bool
    bias_before_s: float | None
    bias_change_s: float | None

    @property
    def fit(self) -> Fit:
        """The best one."""
        return self.timing.fit

    @property
    def change(self) -> Mixture:
        """The period change, s: the fit's, with the error of its model."""
        return self.fit.change.shifted(0.0, self.bias_change_s or 0.0)

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
        """Those of the fit itself."""
        return (*doubts(self.timing), *_model(self))


def sky_and_start(scenario: Scenario) -> tuple[Sky, Start]:
    """Where the system is, and its relaxed start.  InputError where the scenario does not say."""
    return Sky.of(scenario), start(scenario)


def expected(begun: Start) -> Foreknown:
    """Period of the relaxed orbit; apsidal rate that an oblate primary makes, +- APSIDAL_SHARE of it."""
    n = TURN / (begun.period_h * HOUR_S)
    rate = oblate_term(abs(begun.system.oblateness_m2), begun.separation_m) * n
    return Foreknown(begun.period_h, rate, APSIDAL_SHARE * rate + 1e-4 * n)


def timing_fit(scenario: Scenario, mids: MidTimes, robust: bool = False, check: bool = True) -> TimingFit:
    """Count, fit, and (`check`) fit the scenario's own events likewise.

    robust: with errors of Student's t.  Errors: InputError for too few events, or where the scenario has no place.
    """
    sky, begun = sky_and_start(scenario)
    mids = mids.sorted()
    sight = sight_for(sky, mids)
    seen = readings(mids, sight)
    known, loss = expected(begun), "student" if robust else "gaussian"
    found = timing(seen, mids.sigma_s, None, None, known, loss)
    biases = _biases(scenario, begun, mids, sight, seen, known, loss) if check else (None, None)
    return TimingFit(scenario, sky, mids, seen, found, robust, *biases)


def synthesised(scenario: Scenario, days: float, noise_s: float, seed: int, share: float = 1.0) -> MidTimes:
    """Middles of `days` before and after t0 as the simulation has them, with Gaussian noise; a random share of them.

    InputError for numbers that are not allowed, and where no event is left.
    """
    _check_noise(noise_s, seed, share)
    check_days(days)
    sky, begun = sky_and_start(scenario)
    exact = own_events(scenario, begun, Sight(sky, -days * DAY_S - 1.0, days * DAY_S + 1.0), days)
    if not len(exact):
        raise ArgumentError("days", f"no event takes place within {days:g} days of the impact, 1 is needed; take more")
    return _noisy_share(exact, noise_s, seed, share)


def synthesised_nights(scenario: Scenario, noise_s: float | None, seed: int, share: float = 1.0) -> MidTimes:
    """The same of the events that the nights of [campaign] show, none of them lost: what `plan` foretells the fit of.

    noise_s: None: mid_time_sigma_s of the campaign.  Errors: InputError.
    """
    noise_s = scenario.campaign.mid_time_sigma_s if noise_s is None else noise_s
    _check_noise(noise_s, seed, share)
    sky, begun = sky_and_start(scenario)
    found = seen_events(scenario, sky, begun)
    check_counts(scenario, found.passed)
    return _noisy_share(found.mids, noise_s, seed, share)


def _check_noise(noise_s: float, seed: int, share: float) -> None:
    if not 0.0 < share <= 1.0:
        raise ArgumentError("share", f"{share:g} is given, allowed is above 0 to 1; change it")
    low, high = SIGMA_S
    if not (noise_s == 0.0 or low <= noise_s <= high):
        raise ArgumentError("noise_s", f"{noise_s:g} is given, allowed is 0 or {low:g} .. {high:g} s; change it")
    check_seed(seed)


def _noisy_share(exact: MidTimes, noise_s: float, seed: int, share: float) -> MidTimes:
    """Some of the mid-times, at random, with noise.  InputError where none is left."""
    random = np.random.default_rng(seed)
    seen = with_noise(exact, noise_s, random).chosen(random.random(len(exact)) < share)
    if not len(seen):
        raise ArgumentError(
            "share", f"{share:g} of {len(exact)} events leaves none, 1 is needed; take more of them, or more days"
        )
    return seen


def with_noise(exact: MidTimes, noise_s: float, random: np.random.Generator) -> MidTimes:
    """The same mid-times with Gaussian noise, which is also their stated sigma."""
    late = noise_s * random.standard_normal(len(exact))
    return replace(exact, seen_s=exact.seen_s + late, sigma_s=np.full(len(exact), noise_s) if noise_s else None)


def own_events(scenario: Scenario, begun: Start, sight: Sight, days: float, kinds: Sequence[str] = KINDS) -> MidTimes:
    """Exact mid-times as the simulation has them, `days` before and after t0; `sight` covers these."""
    hit = impact_on(begun.system, scenario)
    runs = event_run(scenario, begun.system, -days), event_run(scenario, hit.system, days, hit.state)
    found = [mid_times_of(run, sight, scenario.observer.sunlight, kinds) for run in runs]
    columns = [np.concatenate([getattr(one, name) for one in found]) for name in ("kind", "body", "seen_s")]
    return MidTimes(*columns).sorted()


def _biases(scenario, begun, mids: MidTimes, sight: Sight, seen: Readings, known: Foreknown, loss: str):
    """Of the fit of the scenario's own events nearest to the measured ones: period before, and change."""
    days = float(np.abs(seen.time_s).max() + _MARGIN_S) / DAY_S
    if days > CHECKED_DAYS:
        return None, None
    hit = impact_on(begun.system, scenario)
    try:
        before, after = periods_s(scenario, begun.system, hit)
        room = Sight(sight.sky, min(sight.start_s, -days * DAY_S), max(sight.end_s, days * DAY_S))
        own = _nearest(own_events(scenario, begun, room, days), mids, seen)
        found = timing(readings(own, room), own.sigma_s, None, None, known, loss)
    except (FewCyclesError, InputError):
        return None, None
    # where the count is not certain, the error is that of the right one
    one = min(found.counts, key=lambda one: abs(one.change_s - (after - before)))
    return one.period_before_h * HOUR_S - before, one.change_s - (after - before)


def _nearest(own: MidTimes, mids: MidTimes, seen: Readings) -> MidTimes:
    """The simulated event of the same kind, body and side nearest to each measured one, each once."""
    chosen: dict[int, int] = {}
    delay = mids.seen_s - seen.time_s
    for i in range(len(mids)):
        side = (own.seen_s - delay[i] >= 0.0) == (seen.time_s[i] >= 0.0)
        same = np.flatnonzero((own.kind == mids.kind[i]) & (own.body == mids.body[i]) & side)
        if len(same):
            chosen.setdefault(int(same[np.argmin(np.abs(own.seen_s[same] - mids.seen_s[i]))]), i)
    order = np.array(sorted(chosen), dtype=int)
    found = own.chosen(order)
    if mids.sigma_s is None:
        return found
    return replace(found, sigma_s=mids.sigma_s[[chosen[k] for k in order]])


def _model(campaign: TimingFit) -> tuple[str, ...]:
    fit, said = campaign.fit, []
    if campaign.bias_change_s is None:
        said.append("the scenario's own events were not fitted likewise, so the error of the fit's model is not known")
    elif abs(campaign.bias_change_s) > fit.change_sigma_s:
        said.append(
            f"the fit of the scenario's own events misses its period change by {campaign.bias_change_s:+.2f} s, more "
            "than the measurement's error"
        )
    return tuple(said)
