"""Mid-times of mutual events as measured, and where they put the secondary: its longitude at an instant at the system.

In the mid-time of an event the secondary's direction from the primary, projected on the plane of the orbit before t0,
is that of the Sun (eclipse) or of the observer (occultation) when the primary is dimmed, the opposite one when the
secondary is.  So each mid-time is one reading of the true longitude, at the time of observation less the light time;
the synodic motion of Sun and observer drops out with the direction at each epoch.  Neglected: what shapes and the
inclination of the path do to the middle, seconds for the built-in system.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..motion.trajectory import Trajectory
from .events import BODIES, KINDS, mid_times
from .geometry import Sight, Sky

SIGMA_S = (1e-3, 1e5)
"""Allowed, s: light of a finite brightness times no mid-time better, and one that is off by a day says nothing."""
_RATE_STEP_S = 600.0


@dataclass(frozen=True)
class MidTimes:
    """Measured mid-times, arrays (n,): kind and body as in events.py, seen_s on the observer's clock, s from t0 (TDB).

    sigma_s: one sigma of each, None where nothing is known about it.  line: where each stands in its file, else None.
    """

    kind: np.ndarray
    body: np.ndarray
    seen_s: np.ndarray
    sigma_s: np.ndarray | None = None
    line: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.seen_s)

    def sorted(self) -> MidTimes:
        """The same in the order of time."""
        return self.chosen(np.argsort(self.seen_s, kind="stable"))

    def chosen(self, which: np.ndarray) -> MidTimes:
        """Some of them."""
        sigma, line = (None if column is None else column[which] for column in (self.sigma_s, self.line))
        return MidTimes(self.kind[which], self.body[which], self.seen_s[which], sigma, line)


@dataclass(frozen=True)
class Readings:
    """What the mid-times say, arrays (n,): the time at the system, s from t0, the longitude, its rate along the events.

    longitude_rad: of the secondary in the plane of the orbit before t0, from the frame's x axis, 0 to 2 pi.
    slide_rad_s: how fast the direction of the Sun or the observer turns, which is what a late event adds to the
    longitude.
    """

    time_s: np.ndarray
    longitude_rad: np.ndarray
    slide_rad_s: np.ndarray


def sight_for(sky: Sky, mids: MidTimes) -> Sight:
    """Directions over the span of the mid-times, with room for the light time."""
    first, last = float(mids.seen_s.min()), float(mids.seen_s.max())
    delay = float(sky.at([first]).light_time_s[0])
    margin = 2.0 * _RATE_STEP_S
    return Sight(sky, first - 1.2 * delay - margin, last + margin)


def readings(mids: MidTimes, sight: Sight) -> Readings:
    """Longitudes of the secondary from mid-times; ValueError for a kind or body that is none."""
    if not (np.isin(mids.kind, KINDS).all() and np.isin(mids.body, BODIES).all()):
        raise ValueError(f"kinds are {', '.join(KINDS)}, bodies are {', '.join(BODIES)}")
    time = sight.left_s(mids.seen_s)
    eclipse = mids.kind == "eclipse"

    def direction(at: np.ndarray) -> np.ndarray:
        line = np.where(eclipse[:, None], sight.sunward(at), sight.earthward(at))
        return np.arctan2(line[:, 1], line[:, 0])

    half = 0.5 * _RATE_STEP_S
    moved = np.angle(np.exp(1j * (direction(time + half) - direction(time - half))))
    longitude = direction(time) + np.where(mids.body == "primary", 0.0, np.pi)
    return Readings(time, longitude % (2.0 * np.pi), moved / _RATE_STEP_S)


def mid_times_of(
    trajectory: Trajectory, sight: Sight, sunlight: str = "point", kinds: Sequence[str] = KINDS
) -> MidTimes:
    """The mid-times that a run shows, without errors, in the order of time; `sight` covers the run."""
    kind, body, seen = [], [], []
    for name in kinds:
        mid, front = mid_times(trajectory, sight, name, sunlight)
        kind += [name] * len(mid)
        body += list(np.where(front, "primary", "secondary"))
        seen.append(mid + sight.light_time_s(mid))
    return MidTimes(np.array(kind, dtype="<U11"), np.array(body, dtype="<U9"), np.concatenate(seen)).sorted()
