"""Mid-times of mutual events as measured, and where they put the secondary: its longitude at an instant at the system.

In a conjunction the secondary's direction from the primary, projected on the plane of the orbit before t0, is that of
the Sun (eclipse) or of the observer (occultation) when the primary is dimmed, the opposite one when the secondary is.
So each is one reading of the true longitude, at the time of observation less the light time; the synodic motion of Sun
and observer drops out with the direction at each epoch.  What was timed lies off the conjunction: by seconds for the
middle of the contacts, by up to half an hour for that of a dip of light (middles.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from ..constants import DAY_S
from ..motion.trajectory import Trajectory
from ..sky.dip_causes import MEASURED_KINDS
from ..sky.events import BODIES, KINDS, mid_times
from ..sky.geometry import Sight, Sky

SIGMA_S = (1e-3, 1e5)
"""Allowed, s: light of a finite brightness times no mid-time better, and one that is off by a day says nothing."""
DEFINITIONS = ("dip_centroid", "half_depth", "minimum", "folded", "contacts")
"""What a mid-time may be: the centroid of the missing light (where nothing is said), the mean of the times of half
depth, the deepest instant, that about which the dip is its own mirror image (Kwee & van Woerden 1956, Bull. Astron.
Inst. Netherlands 12, 327, from memory), the mean of contacts 1 and 4."""
_RATE_STEP_S = 600.0


@dataclass(frozen=True)
class MidTimes:
    """Measured mid-times, arrays (n,): kind (MEASURED_KINDS) and body, seen_s at the observer, s from t0 (TDB).

    sigma_s: one sigma of each, None where nothing is known about it.  line: where each stands in its file, else None.
    timed: which of DEFINITIONS, the first where nothing is given; said: whether it is.  observer: who saw it, a text,
    else None.  group: those with the same number share an error; where none is given, those of one day from t0.
    warnings: sentences on their file.
    """

    kind: np.ndarray
    body: np.ndarray
    seen_s: np.ndarray
    sigma_s: np.ndarray | None = None
    line: np.ndarray | None = None
    timed: np.ndarray = None  # type: ignore[assignment]
    group: np.ndarray = None  # type: ignore[assignment]
    observer: np.ndarray | None = None
    said: np.ndarray = None  # type: ignore[assignment]
    warnings: tuple[str, ...] = ()

    def __post_init__(self):
        if self.said is None:
            object.__setattr__(self, "said", np.full(len(self.seen_s), self.timed is not None))
        if self.timed is None:
            object.__setattr__(self, "timed", np.full(len(self.seen_s), DEFINITIONS[0], dtype="<U12"))
        if self.group is None:
            object.__setattr__(self, "group", nights_of(self.seen_s))

    def __len__(self) -> int:
        return len(self.seen_s)

    def sorted(self) -> MidTimes:
        """The same in the order of time."""
        return self.chosen(np.argsort(self.seen_s, kind="stable"))

    def chosen(self, which: np.ndarray) -> MidTimes:
        """Some of them."""
        columns: dict[str, Any] = {field.name: getattr(self, field.name) for field in fields(self)}
        return replace(self, **{name: each[which] for name, each in columns.items() if isinstance(each, np.ndarray)})

    def seen_at(self, seen_s: np.ndarray) -> MidTimes:
        """The same at other times (n,)."""
        return replace(self, seen_s=seen_s)


def nights_of(seen_s: np.ndarray, midnight_s: float = 0.0) -> np.ndarray:
    """(n,) number of the night in which each is seen, from noon to noon about a midnight of the site."""
    return np.round((seen_s - midnight_s) / DAY_S).astype(int)


def groups_of(night: np.ndarray, observer: np.ndarray) -> np.ndarray:
    """(n,) numbers: the same for those whom one observer saw in one night."""
    _, who = np.unique(observer, return_inverse=True)
    return np.unique(np.column_stack([night, who]), axis=0, return_inverse=True)[1].ravel()


@dataclass(frozen=True)
class Readings:
    """What the mid-times say, arrays (n,): the time at the system, s from t0, the longitude, its rate along the events.

    longitude_rad: of the secondary in the plane of the orbit before t0, from the frame's x axis, 0 to 2 pi.
    slide_rad_s: how fast the direction of the Sun or the observer turns, which is what a late event adds to the
    longitude.  after: whether what was timed came after t0, which the conjunction that follows from it may not have
    done; where none is given, the sign of the time.  turned_s: s per rad/s, by how much later than the conjunction what
    was timed lies for the rate of the line of apsides; 0 where none is given.
    """

    time_s: np.ndarray
    longitude_rad: np.ndarray
    slide_rad_s: np.ndarray
    after: np.ndarray = None  # type: ignore[assignment]
    turned_s: np.ndarray = None  # type: ignore[assignment]

    def __post_init__(self):
        if self.after is None:
            object.__setattr__(self, "after", self.time_s >= 0.0)
        if self.turned_s is None:
            object.__setattr__(self, "turned_s", np.zeros_like(self.time_s))

    def earlier(self, by_s: np.ndarray) -> Readings:
        """The same lines of sight read at other times: a line is taken to turn evenly over the minutes to them."""
        return replace(self, time_s=self.time_s - by_s, longitude_rad=self.longitude_rad - self.slide_rad_s * by_s)


def sight_for(sky: Sky, mids: MidTimes) -> Sight:
    """Directions over the span of the mid-times, with room for the light time."""
    first, last = float(mids.seen_s.min()), float(mids.seen_s.max())
    delay = float(sky.at([first]).light_time_s[0])
    margin = 2.0 * _RATE_STEP_S
    return Sight(sky, first - 1.2 * delay - margin, last + margin)


def readings(mids: MidTimes, sight: Sight) -> Readings:
    """Longitudes of the secondary from mid-times; ValueError for a kind or body that is none."""
    if not (np.isin(mids.kind, MEASURED_KINDS).all() and np.isin(mids.body, BODIES).all()):
        raise ValueError(f"kinds are {', '.join(MEASURED_KINDS)}, bodies are {', '.join(BODIES)}")
    time = sight.left_s(mids.seen_s)
    return readings_at(sight, mids.kind, mids.body, time)


def readings_at(
    sight: Sight, kind: np.ndarray, body: np.ndarray, time_s: np.ndarray, after: np.ndarray | None = None
) -> Readings:
    """Of conjunctions at time_s (n,) at the system; after (n,): of events that come after t0, see Readings."""
    early, now, late = (
        line_longitudes_rad(sight, kind, body, time_s + step) for step in (-0.5 * _RATE_STEP_S, 0.0, 0.5 * _RATE_STEP_S)
    )
    moved = np.angle(np.exp(1j * (late - early)))
    seen = Readings(time_s, now % (2.0 * np.pi), moved / _RATE_STEP_S)
    return seen if after is None else replace(seen, after=after)


def line_longitudes_rad(sight: Sight, kind: np.ndarray, body: np.ndarray, time_s: np.ndarray) -> np.ndarray:
    """(n,) where the secondary stands in a conjunction of a kind and body at time_s (n,); of both kinds at once it is
    the eclipse's."""
    seen, sun = sight.earthward(time_s), sight.sunward(time_s)
    line = np.where((kind == "occultation")[:, None], seen, sun)
    return np.arctan2(line[:, 1], line[:, 0]) + np.where(body == "primary", 0.0, np.pi)


def mid_times_of(
    trajectory: Trajectory, sight: Sight, sunlight: str = "point", kinds: Sequence[str] = KINDS
) -> MidTimes:
    """Middles of the contacts that a run shows, without errors, in the order of time; `sight` covers the run."""
    kind, body, seen = [], [], []
    for name in kinds:
        mid, front = mid_times(trajectory, sight, name, sunlight)
        kind += [name] * len(mid)
        body += list(np.where(front, "primary", "secondary"))
        seen.append(mid + sight.light_time_s(mid))
    columns = np.array(kind, dtype="<U11"), np.array(body, dtype="<U9"), np.concatenate(seen)
    return MidTimes(*columns, timed=np.full(len(kind), "contacts")).sorted()
