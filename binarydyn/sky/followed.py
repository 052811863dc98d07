"""Contacts of a run like one whose contacts are known: by a secant from there instead of a search.

Events of many runs that differ little (drawn members) are the same events at other times.  The k-th conjunction in
longitude of the one is that of the other; contacts lie about as far from it.  Where the secant does not arrive (an
event that is nearly absent, outlines that touch twice), the half of the orbit is searched.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..motion.trajectory import Trajectory
from .event_search import KINDS, EventSearch, Halves
from .geometry import Sight
from .motion_between import MotionBetween
from .outline import APART

_NEWTON_STEPS = 4
"""Each gains a factor of the Sun's angular rate over the orbit's, 1e-3."""
_SECANT_STEPS, _FIRST_STEP_S = 6, 20.0
_TOUCHING_M, _SETTLED_M = 0.02, 1e-4
"""A gap smaller than the first is a contact: 0.1 to 0.2 s of motion; the secant goes on to the second: 1 ms."""
_NEARLY = 0.1
"""Of both bodies' reach: an absent event that misses by less may take place in a run like it."""


def conjunctions_s(motion: MotionBetween, line, front: np.ndarray, near_s: np.ndarray) -> np.ndarray:
    """(m,) when the secondary's longitude in the plane of the orbit before t0 is that of a line, plus pi where the
    primary is in front, nearest to times (m,); line gives directions (m, 3) at times.

    Beyond the run's ends the last motion is drawn on.
    """
    time, turned = near_s, np.where(front, 0.0, np.pi)
    for _ in range(_NEWTON_STEPS):
        at = np.clip(time, motion.start_s, motion.end_s)
        (x, y, _), (u, v, _) = (found.T for found in motion.at(at, 3))
        seen = line(at)
        ahead = np.arctan2(y, x) - np.arctan2(seen[:, 1], seen[:, 0]) + turned
        time = at - (np.remainder(ahead + np.pi, 2.0 * np.pi) - np.pi) * (x * x + y * y) / (x * v - y * u)
    return time


@dataclass(frozen=True)
class Winding:
    """Longitude of a run's secondary at its samples, not cut at 2 pi."""

    time_s: np.ndarray
    longitude_rad: np.ndarray

    @classmethod
    def of(cls, motion: MotionBetween, start_rad: float = 0.0) -> Winding:
        """At t0, or at the end next to it, within half a turn of start_rad."""
        time, position = motion.trajectory.time_s, motion.trajectory.position_m
        angle = np.unwrap(np.arctan2(position[:, 1], position[:, 0]))
        off = angle[np.argmin(np.abs(time))] - start_rad
        return cls(time, angle - 2.0 * np.pi * np.round(off / (2.0 * np.pi)))

    @property
    def start_rad(self) -> float:
        """At t0."""
        return float(self.longitude_rad[np.argmin(np.abs(self.time_s))])

    @property
    def _period_s(self) -> float:
        return float(2.0 * np.pi * np.ptp(self.time_s) / np.ptp(self.longitude_rad))

    def at(self, time_s: np.ndarray) -> np.ndarray:
        """(m,) at times (m,), beyond the ends with the mean rate."""
        inside = np.clip(time_s, self.time_s[0], self.time_s[-1])
        return np.interp(inside, self.time_s, self.longitude_rad) + 2.0 * np.pi * (time_s - inside) / self._period_s

    def when(self, longitude_rad: np.ndarray) -> np.ndarray:
        """(m,) the time of each longitude (m,), likewise."""
        inside = np.clip(longitude_rad, self.longitude_rad[0], self.longitude_rad[-1])
        return np.interp(inside, self.longitude_rad, self.time_s) + (longitude_rad - inside) * self._period_s / (
            2.0 * np.pi
        )


@dataclass(frozen=True)
class Guide:
    """Events of a run, with which those of runs like it are found: halves of the orbit and their conjunctions, by kind,
    and how the longitude winds up.
    """

    sunlight: str
    halves: dict[str, Halves]
    conjunction_s: dict[str, np.ndarray]
    winding: Winding

    @classmethod
    def of(cls, trajectory: Trajectory, sight: Sight, sunlight: str = "point", kinds: tuple[str, ...] = KINDS) -> Guide:
        """By a search; `sight` covers the run."""
        motion = MotionBetween(trajectory)
        searches = {kind: EventSearch(motion, sight, kind, sunlight) for kind in KINDS if kind in kinds}
        halves = {kind: search.halves for kind, search in searches.items()}
        conjunction = {
            kind: conjunctions_s(motion, search.line, search.halves.front, search.halves.nearest_s)
            for kind, search in searches.items()
        }
        return cls(sunlight, halves, conjunction, Winding.of(motion))

    def followed(self, motion: MotionBetween, sight: Sight) -> dict[str, Halves]:
        """Halves of the orbit of another run, by kind, as far as it reaches."""
        winding = Winding.of(motion, self.winding.start_rad)
        return {
            kind: self._followed(kind, EventSearch(motion, sight, kind, self.sunlight), winding) for kind in self.halves
        }

    def _followed(self, kind: str, search: EventSearch, winding: Winding) -> Halves:
        then, motion = self.halves[kind], search.motion
        near = winding.when(self.winding.at(self.conjunction_s[kind]))
        late = conjunctions_s(motion, search.line, then.front, near) - self.conjunction_s[kind]
        low, high = (np.clip(end + late, motion.start_s, motion.end_s) for end in (then.low_s, then.high_s))
        there = low < high - _FIRST_STEP_S
        low, high, late, then = low[there], high[there], late[there], then.chosen(there)
        first, last, miss = then.first_s + late, then.last_s + late, then.miss_m.copy()
        here = then.happens
        if here.any():
            ends = _touching(search, first[here], last[here], low[here], high[here])
            first[here], last[here], miss[here] = ends
        lost = np.where(here, miss >= 0.0, miss < _NEARLY * search.reach_m)
        nearest = 0.5 * (first + last)
        if lost.any():
            first[lost], last[lost], miss[lost], nearest[lost] = search.outer(low[lost], high[lost])
        return replace(then, low_s=low, high_s=high, first_s=first, last_s=last, miss_m=miss, nearest_s=nearest)


def _touching(search: EventSearch, first, last, low, high) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Contacts 1 and 4 (m,) near those that are guessed, held to [low, high], and the gap between them; its sign is
    positive where there are none.
    """
    count = len(first)
    guess, low2, high2 = np.concatenate([first, last]), np.tile(low, 2), np.tile(high, 2)
    time = np.clip(guess, low2, high2)
    before, step = search.gap(APART, time), np.repeat([-_FIRST_STEP_S, _FIRST_STEP_S], count)
    for _ in range(_SECANT_STEPS):
        far = np.flatnonzero(np.abs(before) >= _SETTLED_M)
        if not len(far):
            break
        moved = np.clip(time[far] + step[far], low2[far], high2[far])
        gap = search.gap(APART, moved)
        change = gap - before[far]
        step[far] = np.where(change != 0.0, -gap * (moved - time[far]) / np.where(change != 0.0, change, 1.0), 0.0)
        time[far], before[far] = moved, gap
    first, last = time[:count], time[count:]
    edge = (time == low2) | (time == high2)
    arrived = ((np.abs(before) < _TOUCHING_M) | (edge & (before < 0.0))).reshape(2, count).all(axis=0) & (first < last)
    return first, last, np.where(arrived, search.gap(APART, 0.5 * (first + last)), np.inf)
