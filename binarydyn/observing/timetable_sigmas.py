"""How sure the mid-time of each predicted event is: the same event in members drawn from the distributions.

A member's event is found from the nominal one (sky/followed.py), its middle halfway between contacts 1 and 4.  The
mid-times are fitted linearly in the normal scores behind the distributions; sigma^2 = sum of the squared slopes +
variance about the fit, so that a few dozen members give what chance alone would need hundreds for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..constants import HOUR_S
from ..dynamics import System, Trajectory, simulate_many
from ..errors import ArgumentError, BinarydynError
from ..impact import Impact, impact_on
from ..relaxed.start import start
from ..sampling.members import DECIDE_THE_IMPACT
from ..sampling.sample import Sample
from ..scenario import Scenario, varied
from ..sky.event_search import Halves
from ..sky.events import Event
from ..sky.followed import Guide
from ..sky.geometry import Sight, Sky
from ..sky.motion_between import MotionBetween
from .timetable import LONGER, Entry, Timetable, left_alone

COUNT = 32
"""Members: what is fitted is close to linear, so that more change the sigmas by less than a hundredth."""
MOST = 10_000
LEAST_SHARE = 0.9
"""Of the members that have an event: fewer, and what is left would speak for its well-behaved ones alone."""


def least_count(sample: Sample) -> int:
    """Members that the fit needs: twice its coefficients."""
    return 2 * (len(sample.keys) + 1)


def check_members(sample: Sample, count: int) -> None:
    """InputError for a number of members that is below least_count or above MOST."""
    if not least_count(sample) <= count <= MOST:
        raise ArgumentError(
            "members",
            f"{count} is given, allowed is {least_count(sample)} .. {MOST} for {len(sample.keys)} uncertain inputs; "
            "change it",
        )


def with_sigmas(table: Timetable, sample: Sample) -> Timetable:
    """The timetable with the sigma of each mid-time, and of the shift away from the run without the impact.

    InputError for fewer members than least_count, or more than MOST.
    """
    check_members(sample, len(sample))
    pairs, failed = _members(table.scenario, sample)
    mid_times = {name: _mid_times(table, name, pairs, sample) for name in table.runs}
    scores = sample.scores(0, len(sample))
    sigma = {name: _sigmas(values, scores) for name, values in mid_times.items()}
    drift = _shift_sigmas(table, mid_times, scores)
    places = {name: {_label(event): i for i, event in enumerate(table.found(name))} for name in table.runs}
    entries = tuple(
        _with(entry, sigma[entry.side], drift, places[entry.side][_label(entry.event)]) for entry in table.entries
    )
    said = (f"{failed} of {len(sample)} members have no prediction and are left out of the sigmas",) if failed else ()
    known = replace(table, entries=entries, sigma_members=len(sample) - failed)
    return replace(known, warnings=table.warnings + said + _uncounted(known))


def _uncounted(table: Timetable) -> tuple[str, ...]:
    """From which event on a middle may be taken for that of a turn sooner or later."""
    spacing = {(line.kind, line.body): line.spacing_s for line in table.ephemerides}
    for entry in table.entries:
        label = entry.event.kind, entry.event.body
        if entry.mid_time_sigma_s and label in spacing and entry.mid_time_sigma_s > 0.5 * spacing[label]:
            return (
                f"from {table.utc(entry)[-1]} on one sigma exceeds half of the {spacing[label] / HOUR_S:.2f} h between "
                "two events of a kind: which turn an event belongs to is ambiguous",
            )
    return ()


def _with(entry: Entry, sigma: np.ndarray, drift: np.ndarray, place: int) -> Entry:
    if not entry.counts:
        return entry
    own = None if entry.shift_s is None else _known(drift[place])
    return replace(entry, mid_time_sigma_s=_known(sigma[place]), shift_sigma_s=own)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _label(event: Event) -> tuple[str, str, int, float]:
    return event.kind, event.body, event.cycle, event.mid_s


def _members(scenario: Scenario, sample: Sample) -> tuple[list, int]:
    """Scenario, start and impact of each member, None for one that has none; and how many have none."""
    found: list[tuple[Scenario, System, Impact] | None] = []
    for k in range(len(sample)):
        try:
            member = varied(scenario, sample.member(k))
            begun = start(member)
            found.append((member, begun.system, impact_on(begun.system, member)))
        except BinarydynError:
            found.append(None)
    return found, sum(one is None for one in found)


def _mid_times(table: Timetable, name: str, pairs: Sequence, sample: Sample) -> np.ndarray:
    """(members, events of the nominal run) mid-times, s; nan where a member has no such event."""
    nominal, events = table.runs[name], table.found(name)
    if name != "after" and all(key.split(".")[0] in DECIDE_THE_IMPACT for key in sample.keys):
        return np.tile([event.mid_s for event in events], (len(pairs), 1))
    there = [k for k, one in enumerate(pairs) if one is not None]
    runs = _runs(name, nominal, [pairs[k] for k in there])
    out = np.full((len(pairs), len(events)), np.nan)
    guide = Guide.of(nominal, Sight(table.sky, *_reach(nominal)), table.scenario.observer.sunlight)
    widest = Sight(table.sky, LONGER * min(nominal.time_s[0], 0.0), LONGER * max(nominal.time_s[-1], 0.0))
    for k, run in zip(there, runs, strict=True):
        if run.status == "completed":
            own = widest.for_sky(Sky.of(pairs[k][0]))
            out[k] = _matched(guide.followed(MotionBetween(run), own), events)
    return out


def _runs(name: str, nominal: Trajectory, pairs: Sequence) -> list[Trajectory]:
    """Members' runs, longer than the nominal one: an event may come later in them."""
    spacing = (nominal.time_s[-1] - nominal.time_s[0]) / (len(nominal.time_s) - 1) / 60.0
    systems: list[System] = []
    for _, system, impact in pairs:
        systems.append({"before": system, "after": impact.system}.get(name) or left_alone(system))
    states = [impact.state if name == "after" else None for *_, impact in pairs]
    days = LONGER * nominal.days * (-1.0 if name == "before" else 1.0)
    return simulate_many(systems, days, states, every_minutes=spacing)


def _reach(run: Trajectory) -> tuple[float, float]:
    return float(run.time_s[0]), float(run.time_s[-1])


def _matched(halves: Mapping[str, Halves], events: Sequence[Event]) -> np.ndarray:
    """(events,) mid-times of the same events in a member; nan for absent and cut ones too."""
    ends = {
        (kind, body, cycle): (first, last)
        for kind, found in halves.items()
        for body, cycle, first, last, whole in zip(
            found.body, found.cycle, found.first_s, found.last_s, found.whole, strict=True
        )
        if whole
    }
    out = np.full(len(events), np.nan)
    for i, event in enumerate(events):
        causes = [ends.get(label) for label in event.causes]
        if event.duration_s and None not in causes:
            first, last = zip(*causes, strict=True)
            out[i] = 0.5 * (min(first) + max(last))
    return out


def _sigmas(values: np.ndarray, scores: np.ndarray) -> np.ndarray:
    """(m,) standard deviations of columns (members, m), as they follow from scores (members, k); see _sigma."""
    return np.array([_sigma(column, scores) for column in values.T])


def _sigma(column: np.ndarray, scores: np.ndarray) -> float:
    """By the linear fit; nan where too few members have the event."""
    known = np.isfinite(column)
    terms = scores.shape[1] + 1
    if known.sum() < max(LEAST_SHARE * len(column), 2 * terms):
        return float("nan")
    x = np.column_stack([np.ones(known.sum()), scores[known]])
    y = column[known] - column[known].mean()
    slopes = np.linalg.lstsq(x, y, rcond=None)[0]
    left = y - x @ slopes
    return float(np.sqrt(slopes[1:] @ slopes[1:] + left @ left / (len(y) - terms)))


def _shift_sigmas(table: Timetable, mid_times: dict[str, np.ndarray], scores: np.ndarray) -> np.ndarray:
    """Of the mid-times after the impact minus those of the same conjunction without it."""
    without = {(e.kind, e.body, e.cycle): i for i, e in enumerate(table.found("without"))}
    out = np.full(len(table.found("after")), np.nan)
    for i, event in enumerate(table.found("after")):
        j = without.get((event.kind, event.body, event.cycle))
        if j is not None:
            out[i] = _sigma(mid_times["after"][:, i] - mid_times["without"][:, j], scores)
    return out
