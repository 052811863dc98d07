"""How sure the mid-time of each predicted event is: the same event in members drawn from the distributions.

A member's event is found from the nominal one: at the time at which its secondary has gone as far round, as seen along
the line of the event, since t0 (so a cycle is a cycle, however far the times part); from there contacts 1 and 4 by the
secant method on the distance of the outlines, and the middle halfway between them.  The mid-times are fitted linearly
in the normal scores behind the distributions; sigma^2 = sum of the squared slopes + variance about the fit, so that a
few dozen members give what chance alone would need hundreds for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from ..constants import HOUR_S
from ..dynamics import System, Trajectory, simulate_many
from ..errors import ArgumentError, BinarydynError
from ..impact import Impact, impact_on
from ..relaxed.start import start
from ..sampling.members import DECIDE_THE_IMPACT
from ..sampling.sample import Sample
from ..scenario import Scenario, varied
from ..sky.events import Event
from ..sky.geometry import Sight, Sky
from ..sky.motion_between import MotionBetween
from ..sky.outline import APART, gaps
from .timetable import LONGER, Entry, Timetable, left_alone

COUNT = 32
"""Members: what is fitted is close to linear, so that more change the sigmas by less than a hundredth."""
MOST = 10_000
LEAST_SHARE = 0.9
"""Of the members that have an event: fewer, and what is left would speak for its well-behaved ones alone."""
_SECANT_STEPS = 6
_SETTLED_S = 0.01
"""Of a step of the secant method; what is left after it is smaller by orders of magnitude."""
_CLOSED_M = 0.01
"""Gap of outlines that counts as touching: 0.1 s at a tenth of a metre a second."""


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
    at_first = _Along(nominal, _lines(Sight(table.sky, *_reach(nominal))))
    widest = Sight(table.sky, LONGER * min(nominal.time_s[0], 0.0), LONGER * max(nominal.time_s[-1], 0.0))
    for k, run in zip(there, runs, strict=True):
        if run.status == "completed":
            out[k] = _matched(at_first, _Along(run, _lines_of(pairs[k][0], widest)), events)
    return out


Lines = Mapping[str, Callable[[np.ndarray], np.ndarray]]
"""By kind of event: directions (m, 3) of the line at times (m,)."""


def _lines(sight: Sight, turn: np.ndarray | None = None) -> Lines:
    """Of a sight, turned (3, 3) into another pair's frame."""
    if turn is None:
        return {"eclipse": sight.sunward, "occultation": sight.earthward}
    return {kind: partial(_turned, line, turn) for kind, line in _lines(sight).items()}


def _turned(line: Callable[[np.ndarray], np.ndarray], turn: np.ndarray, time: np.ndarray) -> np.ndarray:
    return line(time) @ turn.T


def _lines_of(member: Scenario, nominal: Sight) -> Lines:
    """A member's: its Sun and Earth are the nominal ones, turned if its orbit has another pole, unless it has another
    orbit about the Sun or observer.
    """
    sky, known = Sky.of(member), nominal.sky
    if (sky.elements, sky.site) != (known.elements, known.site):
        return _lines(Sight(sky, nominal.start_s, nominal.end_s))
    return _lines(nominal, sky.axes @ known.axes.T)


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


class _Along:
    """A run seen along the lines of its events."""

    def __init__(self, run: Trajectory, lines: Lines):
        self.motion, self.lines = MotionBetween(run), lines

    def angle(self, kind: str) -> np.ndarray:
        """(n,) of the secondary from the line, at the samples, unwrapped from its value in (-pi, pi] at t0."""
        run = self.motion.trajectory
        line = self.lines[kind](run.time_s)
        r = run.position_m
        found = np.unwrap(np.arctan2(r[:, 1], r[:, 0]) - np.arctan2(line[:, 1], line[:, 0]))
        at_t0 = found[0] if run.time_s[0] == 0.0 else found[-1]
        return found - 2.0 * np.pi * np.round(at_t0 / (2.0 * np.pi))

    def gap(self, kind: str, time: np.ndarray) -> np.ndarray:
        """(m,) distance of the outlines, m; nan outside the run."""
        motion = self.motion
        inside = (time > motion.start_s) & (time < motion.end_s)
        found = np.full(len(time), np.nan)
        if inside.any():
            at = time[inside]
            found[inside] = gaps(APART, motion.places(at), motion.figures, self.lines[kind](at))
        return found


def _matched(nominal: _Along, member: _Along, events: Sequence[Event]) -> np.ndarray:
    """(events,) mid-times of the same events in a member; nan for absent and cut ones too."""
    out = np.full(len(events), np.nan)
    for kind in nominal.lines:
        chosen = [i for i, e in enumerate(events) if e.kind == kind and e.duration_s is not None]
        if not chosen:
            continue
        middle = np.array([events[i].mid_s for i in chosen])
        there, here = nominal.angle(kind), member.angle(kind)
        turn = 2.0 * np.pi * np.round((_at_t0(here, member) - _at_t0(there, nominal)) / (2.0 * np.pi))
        wanted = np.interp(middle, nominal.motion.trajectory.time_s, there) + turn
        shift = _inverse(wanted, here, member.motion.trajectory.time_s) - middle
        ends = np.array([[events[i].contacts_s[j] for i in chosen] for j in (0, 3)])
        contacts = _touching(lambda t, kind=kind: member.gap(kind, t), (ends + shift).ravel())
        out[chosen] = contacts.reshape(2, -1).mean(axis=0)
    return out


def _at_t0(angle: np.ndarray, of: _Along) -> float:
    return float(angle[0] if of.motion.start_s == 0.0 else angle[-1])


def _inverse(wanted: np.ndarray, angle: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Times at which an angle that grows or falls with time has some values; nan outside."""
    order = slice(None) if angle[-1] > angle[0] else slice(None, None, -1)
    return np.interp(wanted, angle[order], time[order], left=np.nan, right=np.nan)


def _touching(gap, time: np.ndarray) -> np.ndarray:
    """(m,) roots of a gap near times (m,), by the secant method; nan where it does not come to rest."""
    before, now = time, time + 5.0
    at_before, at_now = gap(before), gap(now)
    with np.errstate(all="ignore"):
        for _ in range(_SECANT_STEPS):
            step = at_now * (now - before) / (at_now - at_before)
            step = np.where(np.abs(at_now) < 1e-6, 0.0, step)
            before, at_before = now, at_now
            now = now - step
            at_now = gap(now)
            if not np.nanmax(np.abs(step), initial=0.0) > _SETTLED_S:
                break
    return np.where(np.abs(at_now) < _CLOSED_M, now, np.nan)


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
