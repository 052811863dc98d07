"""Mutual events of a run: eclipses and occultations of both bodies, their contacts, middle, extent and depth, and the
dips of light that observers see.

Where they lie is found by event_search.py, their dips are measured by dips.py.  Times are instants at the system, s
from t0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..kinds import sure
from ..motion.trajectory import Trajectory
from .dip_causes import BOTH, ECLIPSE, OCCULTATION
from .dips import Dips, dips_in
from .event_search import BODIES, KINDS, EventSearch, Halves
from .geometry import Sight, Sky
from .motion_between import MotionBetween
from .outline import ONE_INSIDE_TWO, TWO_INSIDE_ONE

__all__ = ["BODIES", "GRAZING_SHARE", "KINDS", "Dip", "Event", "both_of", "events", "mid_times", "united"]
GRAZING_SHARE = 0.02
"""Of the dimmed body's outline: a partial event that takes less is called grazing (common practice)."""


@dataclass(frozen=True)
class Dip:
    """The light that is missing, each number for Lommel-Seeliger's law and for Lambert's (dips.DIP_LAWS).

    kind: `both` where an eclipse and an occultation of one body overlap; then it is the dip of either event.
    centroid_s, minimum_s: middles by definition (dip_middles.py).  depth_mag: of the light of both bodies, at the
    deepest; for equal albedos.
    """

    kind: str
    centroid_s: tuple[float, float]
    minimum_s: tuple[float, float]
    depth_mag: tuple[float, float]

    @property
    def mid_s(self) -> float:
        """Centroid, the mean of both laws."""
        return sum(self.centroid_s) / len(self.centroid_s)

    @property
    def spread_s(self) -> float:
        """By how much Lambert's centroid is later than Lommel-Seeliger's."""
        return self.centroid_s[1] - self.centroid_s[0]


@dataclass(frozen=True)
class Event:
    """One event, or one that does not take place (`absent`).

    kind: eclipse, occultation or, by `united`, both.  body: the one that is dimmed.  extent: total (all of it), annular
    (the other body's outline lies within), partial, grazing (partial, less than GRAZING_SHARE of the body), absent.
    cycle: conjunctions of this kind and body since t0, 0 the first after it, -1 the last before it.  contacts_s: four
    instants, None where there is no such contact or where the run does not reach it.  mid_s: halfway between contacts 1
    and 4; of an absent one when the outlines are nearest.  miss_m: smallest distance of the outlines of an absent one,
    else 0.
    Of both: contacts 1 and 4 of the whole, extent, share and depth_mag of its larger part, cycle of its eclipse, and
    occultation_cycle of its occultation.
    share: greatest part of the dimmed body's outline that is covered.  depth_mag: see events().  dip: None where it is
    not whole, where no light is missing (the dimmed ground is dark or not seen), or where it was not asked for.
    """

    kind: str
    body: str
    extent: str
    cycle: int
    contacts_s: tuple[float | None, float | None, float | None, float | None]
    mid_s: float
    miss_m: float
    share: float
    depth_mag: float
    dip: Dip | None = None
    occultation_cycle: int | None = None

    @property
    def duration_s(self) -> float | None:
        """Contact 4 minus contact 1."""
        first, _, _, last = self.contacts_s
        return None if first is None or last is None else last - first

    @property
    def causes(self) -> tuple[tuple[str, str, int | None], ...]:
        """Kind, body and cycle of the eclipse, the occultation, or both."""
        if self.kind != BOTH:
            return ((self.kind, self.body, self.cycle),)
        return (ECLIPSE, self.body, self.cycle), (OCCULTATION, self.body, self.occultation_cycle)

    @property
    def is_cut(self) -> bool:
        """Whether the run begins or ends within the event."""
        return self.extent != "absent" and self.duration_s is None


def events(trajectory: Trajectory, sky: Sky, sunlight: str = "point", dips: bool = True) -> list[Event]:
    """All conjunctions of a run with what happens there, in the order of time; without dips in half the time.

    depth_mag is -2.5 log10(1 - covered area / area of both outlines) along the line of the event, at its deepest: the
    depth of equally bright discs.  That is exact at phase angle 0 for surfaces without limb darkening; elsewhere, and
    where an eclipse and an occultation overlap, light_curve has the depth.  InputError for fewer than four samples or
    stored bodies.
    """
    motion = MotionBetween(trajectory)
    sight = Sight(sky, motion.start_s, motion.end_s)
    searches = [EventSearch(motion, sight, kind, sunlight) for kind in KINDS]
    found = [event for search in searches for event in _events(search)]
    if dips:
        found = _with_dips(found, dips_in(motion, sight, {search.kind: search.halves for search in searches}))
    return sorted(found, key=lambda event: event.mid_s)


def united(found: Sequence[Event]) -> list[Event]:
    """The same with each whole eclipse and occultation of one body that overlap as one event, in the order of time."""
    whole = [event for event in found if event.extent != "absent" and event.duration_s is not None]
    one_of: dict[int, Event] = {}
    for eclipse in (event for event in whole if event.kind == ECLIPSE):
        others = [event for event in whole if event.kind == OCCULTATION and _overlap(eclipse, event)]
        if others:
            other = min(others, key=lambda event: abs(event.mid_s - eclipse.mid_s))
            one_of[id(eclipse)] = one_of[id(other)] = both_of(eclipse, other)
    kept = {id(one): one for event in found for one in (one_of.get(id(event), event),)}
    return sorted(kept.values(), key=lambda event: event.mid_s)


def _overlap(one: Event, two: Event) -> bool:
    """Whether whole events dim the same body at the same time."""
    (first, *_, last), (begin, *_, end) = one.contacts_s, two.contacts_s
    return one.body == two.body and sure(begin) < sure(last) and sure(first) < sure(end)


def both_of(eclipse: Event, occultation: Event) -> Event:
    """Two whole events of one body as one."""
    first = min(sure(event.contacts_s[0]) for event in (eclipse, occultation))
    last = max(sure(event.contacts_s[3]) for event in (eclipse, occultation))
    larger = max(eclipse, occultation, key=lambda event: event.share)
    return replace(
        larger,
        kind=BOTH,
        cycle=eclipse.cycle,
        contacts_s=(first, None, None, last),
        mid_s=0.5 * (first + last),
        occultation_cycle=occultation.cycle,
    )


def _with_dips(found: list[Event], dips: Dips) -> list[Event]:
    """Each with the dip that it makes, or that it makes together with another one."""
    of: dict[tuple[str, str, int], Dip] = {}
    for i in np.flatnonzero(dips.depth_m2.min(axis=1) > 0.0).tolist():
        kind, body, cycle = dips.keys()[i]
        made = {(kind, body, cycle)}
        if kind == BOTH:
            made = {(ECLIPSE, body, cycle), (OCCULTATION, body, int(dips.occultation_cycle[i]))}
        of |= dict.fromkeys(made, _dip(dips, i))
    return [replace(event, dip=of.get((event.kind, event.body, event.cycle))) for event in found]


def _dip(dips: Dips, i: int) -> Dip:
    depth = -2.5 * np.log10(1.0 - dips.depth_m2[i] / dips.light_m2[i])
    numbers = (tuple(values.tolist()) for values in (dips.centroid_s[i], dips.minimum_s[i], depth))
    return Dip(str(dips.kind[i]), *numbers)


def mid_times(
    trajectory: Trajectory, sight: Sight, kind: str, sunlight: str = "point"
) -> tuple[np.ndarray, np.ndarray]:
    """Middles (m,), s, of the whole events of one kind, and which of them dim the primary: events() in a third of the
    time, without depths.
    """
    halves = EventSearch(MotionBetween(trajectory), sight, kind, sunlight).halves
    return halves.mid_s[halves.whole], halves.front[halves.whole]


def _events(search: EventSearch) -> list[Event]:
    """Of one kind."""
    halves = search.halves
    if not len(halves):
        return []
    within = {"primary": search.inner(ONE_INSIDE_TWO), "secondary": search.inner(TWO_INSIDE_ONE)}
    share, depth = search.depth()
    return [
        _event(
            search.kind,
            halves,
            i,
            {body: (start[i], end[i]) for body, (start, end) in within.items()},
            share[i],
            depth[i],
        )
        for i in np.flatnonzero(halves.inside | halves.happens).tolist()
    ]


def _event(kind: str, halves: Halves, i: int, within: dict, share: float, depth: float) -> Event:
    """within: contacts 2 and 3 of each body inside the other's outline, nan where it never lies there."""
    body, cycle = str(halves.body[i]), int(halves.cycle[i])
    if not halves.happens[i]:
        nothing = (None, None, None, None)
        return Event(
            kind, body, "absent", cycle, nothing, float(halves.nearest_s[i]), float(halves.miss_m[i]), 0.0, 0.0
        )
    extent = "grazing" if share < GRAZING_SHARE else "partial"
    middle: tuple[float | None, float | None] = (None, None)
    for name, (start, end) in within.items():
        if np.isfinite(start):
            extent, middle = "total" if name == body else "annular", (float(start), float(end))
    first = float(halves.first_s[i]) if halves.has_first[i] else None
    last = float(halves.last_s[i]) if halves.has_last[i] else None
    return Event(
        kind, body, extent, cycle, (first, *middle, last), float(halves.mid_s[i]), 0.0, float(share), float(depth)
    )
