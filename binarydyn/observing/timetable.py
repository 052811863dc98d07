"""The timetable of mutual events before and after the impact, and how the events shift away from what they were.

Three runs from the relaxed start: the window before t0, the one after the impact, and the same window without it.  The
time shift of an event is its mid-time minus that of the same conjunction without the impact.  O-C is what observers
see: the middle minus a linear ephemeris fitted to the mid-times before t0, each kind of event by itself, in the times
of observation; it also holds the change of the geometry and of the light time, which no straight line follows for long.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..constants import DAY_S
from ..dynamics import State, System, Trajectory, simulate
from ..epochs import moment
from ..errors import ArgumentError, FewCyclesError, InputError
from ..impact import Impact, impact_on
from ..kinds import NUMBER, takes
from ..observables import period
from ..relaxed.start import Start, start
from ..scenario import Scenario
from ..sky.dip_causes import BOTH
from ..sky.ephemeris import Clock
from ..sky.events import Event, both_of, events, united
from ..sky.geometry import Geometry, Sky
from ..sky.motion_between import SAMPLES_A_TURN

DEFAULT_DAYS = 14.0
EVENTS_FOR_EPHEMERIS = 3
"""Fewer leave no scatter that would tell whether they lie on a line."""
LONGER = 1.15
"""The run without impact is so much longer: where the impact shortens the period, the same conjunction comes later."""
LIMITS_DAYS = (0.1, 3650.0)


@dataclass(frozen=True)
class Entry:
    """One event and how it compares.

    side: `before` or `after` t0.  seen_s: its mid-time as the observer's clock shows it, s from t0 (TDB).  shift_s:
    None before t0, for absent or cut events and where the run without impact has none.  o_minus_c_s: None without an
    ephemeris.  mid_time_sigma_s, shift_sigma_s: predicted 1-sigma of the middle and of the time shift, None for a
    scenario of single values, and for an event that a tenth of what may be does not have.
    """

    event: Event
    side: str
    seen_s: float
    o_minus_c_s: float | None = None
    shift_s: float | None = None
    mid_time_sigma_s: float | None = None
    shift_sigma_s: float | None = None

    @property
    def counts(self) -> bool:
        """Whether it takes place, whole, in its run."""
        return self.event.extent != "absent" and not self.event.is_cut


@dataclass(frozen=True)
class Ephemeris:
    """Middles of one kind of event, as seen: zero_s + cycle spacing_s, s from t0; the scatter of `count` about it."""

    kind: str
    body: str
    zero_s: float
    spacing_s: float
    scatter_s: float
    count: int


@dataclass(frozen=True)
class Night:
    """A date (UTC) after the impact: its events, their mean time shift, s, and mean O-C, s.

    shift_sigma_s: the mean of their sigmas, since the inputs move events of one night together.
    """

    date_utc: str
    events: int
    shift_s: float
    shift_sigma_s: float | None
    o_minus_c_s: float | None


@dataclass(frozen=True)
class Timetable:
    """What `timetable` returns; entries in the order of time, absent events among them; an eclipse and an occultation
    of one body that overlap are one.

    runs, conjunctions: by name, `before`, `after` and `without` the impact; for those who look again.  sigma_members:
    drawn members behind the sigmas, None without sigmas.
    """

    scenario: Scenario
    start: Start
    impact: Impact
    sky: Sky
    days: float
    entries: tuple[Entry, ...]
    ephemerides: tuple[Ephemeris, ...]
    period_before_h: float | None
    period_after_h: float | None
    status: str
    warnings: tuple[str, ...]
    runs: Mapping[str, Trajectory] = field(repr=False)
    conjunctions: Mapping[str, Sequence[Event]] = field(repr=False)
    sigma_members: int | None = None

    def found(self, name: str) -> Sequence[Event]:
        """All conjunctions of a run."""
        return self.conjunctions[name]

    @property
    def geometry(self) -> Geometry:
        """At t0."""
        return self.sky.at([0.0])

    def utc(self, entry: Entry) -> tuple[str | None, ...]:
        """When (UTC) contacts 1 to 4 and the middle are seen; None for what does not take place or is not known."""
        return self.seen_utc((*entry.event.contacts_s, entry.event.mid_s))

    def seen_utc(self, times_s: Sequence[float | None]) -> tuple[str | None, ...]:
        """When (UTC) what happens at times, s from t0, is seen; None for None."""
        texts = iter(self.sky.observed_utc([t for t in times_s if t is not None]))
        return tuple(None if t is None else next(texts) for t in times_s)

    def nights(self) -> list[Night]:
        """For each date (UTC) after the impact."""
        dated: dict[str, list[Entry]] = {}
        late = [entry for entry in self.entries if entry.shift_s is not None]
        for entry, text in zip(late, self.sky.observed_utc([entry.event.mid_s for entry in late]), strict=True):
            dated.setdefault(text[:10], []).append(entry)
        return [
            Night(
                date,
                len(those),
                float(np.mean([e.shift_s for e in those])),
                _mean([e.shift_sigma_s for e in those]),
                _mean([e.o_minus_c_s for e in those]),
            )
            for date, those in dated.items()
        ]


def check_days(days: float) -> None:
    """InputError for a length that no timetable has."""
    low, high = LIMITS_DAYS
    if not low <= days <= high:
        raise ArgumentError("days", f"{days:g} is given, allowed is {low:g} .. {high:g} days; change it")


@takes(scenario="Scenario", days=NUMBER)
def timetable(scenario: Scenario, days: float = DEFAULT_DAYS) -> Timetable:
    """Events of `days` before t0 and as many after it.

    InputError where the scenario does not say where the system is (Sky.of) or for an impossible number of days; contact
    and escape end the table early and are its status.
    """
    check_days(days)
    sky = Sky.of(scenario)
    begun = start(scenario)
    impact = impact_on(begun.system, scenario)
    runs = {
        "before": event_run(scenario, begun.system, -days),
        "after": event_run(scenario, impact.system, days, impact.state),
        "without": event_run(scenario, left_alone(begun.system), LONGER * days + 2.0 * begun.period_h / 24.0),
    }
    sunlight = scenario.observer.sunlight
    found = {name: events(run, sky, sunlight, dips=name != "without") for name, run in runs.items()}
    found |= {name: united(found[name]) for name in ("before", "after")}
    found["without"] += _same_pairs(found["after"], found["without"])
    seen = {name: _entries(name, found[name], sky) for name in runs}
    ephemerides = tuple(_ephemerides(seen["before"]))
    unmoved = {_label(e.event): e.event.mid_s for e in seen["without"] if e.counts}
    entries = [*seen["before"], *(_drifted(entry, unmoved) for entry in seen["after"])]
    periods = [_period_h(runs[name]) for name in ("before", "after")]
    statuses = [runs["before"].status, runs["after"].status]
    return Timetable(
        scenario=scenario,
        start=begun,
        impact=impact,
        sky=sky,
        days=days,
        entries=tuple(_compared(entry, ephemerides) for entry in entries),
        ephemerides=ephemerides,
        period_before_h=periods[0],
        period_after_h=periods[1],
        status=f"{statuses[0]}_before" if statuses[0] != "completed" else statuses[1],
        warnings=begun.warnings + impact.warnings + _warnings(entries, periods, days),
        runs=runs,
        conjunctions=found,
    )


def event_run(scenario: Scenario, system: System, days: float, state: State | None = None) -> Trajectory:
    """A run sampled often enough to know the primary's attitude between samples, as its events need it.

    InputError, before it, where nobody knows from where its end is seen.
    """
    Clock(moment(scenario.impact_epoch_utc)).check_served([0.0, days * DAY_S])
    return simulate(system, days, state=state, every_minutes=sample_minutes(scenario))


def sample_minutes(scenario: Scenario) -> float:
    """Between samples from which the primary's attitude is known at any time."""
    return min(20.0, abs(scenario.primary.spin_period_h) * 60.0 / SAMPLES_A_TURN)


def left_alone(system: System) -> System:
    """Without the transient drift, which the impact sets off; what drifts steadily goes on."""
    moved = system.perturbations
    if moved is None or moved.drift is None:
        return system
    drift = replace(moved.drift, transient_period_change_s=0.0)
    return replace(system, perturbations=replace(moved, drift=drift))


def _same_pairs(after: Sequence[Event], without: Sequence[Event]) -> list[Event]:
    """The eclipses and occultations that are one event after the impact as one of the run without it, overlapping or
    not."""
    whole: dict = {_label(event): event for event in without if event.duration_s is not None}
    found = []
    for event in after:
        eclipse, occultation = whole.get(event.causes[0]), whole.get(event.causes[-1])
        if event.kind == BOTH and eclipse and occultation:
            found.append(both_of(eclipse, occultation))
    return found


def _entries(side: str, found: Sequence[Event], sky: Sky) -> list[Entry]:
    mid_times = np.array([event.mid_s for event in found])
    seen = mid_times + sky.at(mid_times).light_time_s if len(found) else mid_times
    return [Entry(event, side, float(t)) for event, t in zip(found, seen, strict=True)]


def _label(event: Event) -> tuple[str, str, int]:
    return event.kind, event.body, event.cycle


def _ephemerides(entries: Sequence[Entry]) -> list[Ephemeris]:
    """A line through the mid-times of each kind of event, where there are enough."""
    kinds = dict.fromkeys((entry.event.kind, entry.event.body) for entry in entries if entry.counts)
    found = []
    for kind, body in kinds:
        same = [e for e in entries if e.counts and (e.event.kind, e.event.body) == (kind, body)]
        if len(same) < EVENTS_FOR_EPHEMERIS:
            continue
        cycle, seen = np.array([e.event.cycle for e in same], dtype=float), np.array([e.seen_s for e in same])
        spacing, zero = np.polyfit(cycle, seen, 1)
        scatter = float(np.std(seen - zero - spacing * cycle, ddof=2))
        found.append(Ephemeris(kind, body, float(zero), float(spacing), scatter, len(same)))
    return found


def _compared(entry: Entry, ephemerides: Sequence[Ephemeris]) -> Entry:
    for line in ephemerides:
        if entry.counts and (entry.event.kind, entry.event.body) == (line.kind, line.body):
            return replace(entry, o_minus_c_s=entry.seen_s - line.zero_s - line.spacing_s * entry.event.cycle)
    return entry


def _drifted(entry: Entry, unmoved: dict[tuple[str, str, int], float]) -> Entry:
    without = unmoved.get(_label(entry.event)) if entry.counts else None
    return entry if without is None else replace(entry, shift_s=entry.event.mid_s - without)


def _period_h(run: Trajectory) -> float | None:
    try:
        return period(run).value_h
    except (FewCyclesError, InputError):
        return None


def _warnings(entries: Sequence[Entry], periods: Sequence, days: float) -> tuple[str, ...]:
    said = []
    if None in periods:
        said.append(
            f"{days:g} {'day is' if days == 1 else 'days are'} too short for a sidereal period, 5 orbits are needed"
        )
    cut = sum(entry.event.is_cut for entry in entries)
    if cut:
        events, its = ("event is", "its mid-time does") if cut == 1 else ("events are", "their mid-times do")
        said.append(f"{cut} {events} under way at the impact or at an end of the table; {its} not count")
    return tuple(said)


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.mean(known)) if known else None
