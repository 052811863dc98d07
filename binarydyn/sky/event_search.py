"""Where along a run mutual events lie: conjunctions, contacts of outlines, what is covered; many events side by side.

Between two instants at which the secondary is as far from the Sun (from the observer) as the primary, the nearer body
may cast its shadow on (hide) the other.  Seen along that line both are outlines (outline.py), and the four contacts are
the roots of two gaps: outlines touch from outside (1, 4), the smaller one lies within the other (2, 3).  With `disc`
the Sun has a radius: contacts 1 and 4 are those of the penumbra, 2 and 3 of a total eclipse those of the umbra; the
penumbra's width is that at the distance of the centres along the line.
Times are instants at the system, s from t0.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from .crossings import ends_below, root, smallest
from .geometry import Sight
from .motion_between import MotionBetween
from .outline import APART, gaps
from .overlap import areas

KINDS = ("eclipse", "occultation")
BODIES = ("primary", "secondary")
_SCAN = 64
_INNER_SCAN = 32
_DEPTH_SCAN = 8
_EDGE_S = 1e-3
"""A contact or a conjunction that is nearer to the run's end is the end itself."""


@dataclass(frozen=True)
class Halves:
    """The m halves of the orbit in which one body is in front, in the order of time, and what happens in each.

    low_s, high_s: start and end.  front: the secondary is in front, so that the primary may be dimmed.  first_s,
    last_s: contacts 1 and 4, or where the run is cut.  miss_m: smallest gap of the outlines, negative where they
    overlap, and nearest_s, when.  cycle: conjunctions of this kind and body since t0, 0 the first after it, -1 the last
    before it.  inside: the outlines are nearest within the run, not at its end.
    """

    low_s: np.ndarray
    high_s: np.ndarray
    front: np.ndarray
    first_s: np.ndarray
    last_s: np.ndarray
    miss_m: np.ndarray
    nearest_s: np.ndarray
    cycle: np.ndarray
    inside: np.ndarray

    def chosen(self, which: np.ndarray) -> Halves:
        """Some of them."""
        return Halves(*(getattr(self, field.name)[which] for field in fields(self)))

    def __len__(self) -> int:
        return len(self.low_s)

    @property
    def happens(self) -> np.ndarray:
        """(m,) whether the outlines overlap."""
        return self.miss_m < 0.0

    @property
    def has_first(self) -> np.ndarray:
        """(m,) whether contact 1 is within the run."""
        return np.abs(self.first_s - self.low_s) >= _EDGE_S

    @property
    def has_last(self) -> np.ndarray:
        """(m,) whether contact 4 is."""
        return np.abs(self.high_s - self.last_s) >= _EDGE_S

    @property
    def whole(self) -> np.ndarray:
        """(m,) whether there is an event with both."""
        return self.happens & self.has_first & self.has_last

    @property
    def mid_s(self) -> np.ndarray:
        """(m,) halfway between contacts 1 and 4."""
        return 0.5 * (self.first_s + self.last_s)

    @property
    def body(self) -> np.ndarray:
        """(m,) the one that is dimmed."""
        return np.where(self.front, *BODIES)


class EventSearch:
    """Events of one kind."""

    def __init__(self, motion: MotionBetween, sight: Sight, kind: str, sunlight: str = "point"):
        self.motion, self.kind, self.sight = motion, kind, sight
        self.disc = sunlight == "disc" and kind == "eclipse"
        self.line = sight.sunward if kind == "eclipse" else sight.earthward

    def height(self, time: np.ndarray) -> np.ndarray:
        """(m,) by how much the secondary is nearer to the Sun or the observer than the primary, m."""
        return np.sum(self.motion.position_m(time) * self.line(time), axis=1)

    def gap(self, mode: int, time: np.ndarray) -> np.ndarray:
        """(m,) distance to the touching of outlines, m, negative beyond it, with the margin of the penumbra."""
        line, places = self.line(time), self.motion.places(time)
        found = gaps(mode, places, self.motion.figures, line)
        if self.disc:
            height = np.abs(np.sum(places.position_m * line, axis=1))
            margin = height * np.tan(self.sight.sun_radius_rad(time))
            found = found - margin if mode == APART else found + margin
        return found

    @cached_property
    def halves(self) -> Halves:
        """All of the run."""
        low, high, front = self._edges()
        if not len(low):
            none = np.empty(0)
            return Halves(none, none, front, none, none, none, none, none.astype(int), front)
        first, last, miss, nearest = self.outer(low, high)
        # the run may begin after a conjunction, or end before one, of which it still shows an event
        early, late = nearest < self.motion.start_s + _EDGE_S, nearest > self.motion.end_s - _EDGE_S
        inside = ~(early | late)
        cycle = _cycles(front, np.where(inside, nearest < 0.0, early))
        return Halves(low, high, front, first, last, miss, nearest, cycle, inside)

    def _edges(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Starts and ends (m,) of the halves of the orbit, and whether the secondary is in front in each."""
        time = self.motion.trajectory.time_s
        height = self.height(time)
        k = np.flatnonzero(np.sign(height[1:]) * np.sign(height[:-1]) < 0)
        if not len(k):
            return np.empty(0), np.empty(0), np.empty(0, dtype=bool)
        crossings = root(self.height, time[k], time[k + 1])
        edges = np.concatenate([time[:1], crossings, time[-1:]])
        middle = 0.5 * (edges[1:] + edges[:-1])
        return edges[:-1], edges[1:], self.height(middle) > 0.0

    def outer(self, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, ...]:
        """Contacts 1 and 4 (m,), the smallest gap and when; where it is above 0 there is no event."""
        time = low[:, None] + (high - low)[:, None] * np.arange(_SCAN + 1) / _SCAN
        gap = self._scan(time)
        nearest, miss = smallest(lambda t: self.gap(APART, t), time, gap)
        first, last = ends_below(lambda t: self.gap(APART, t), time, gap, nearest, miss)
        return first, last, miss, nearest

    @property
    def reach_m(self) -> float:
        """Beyond this distance of the centres across the line the outlines are apart."""
        return float(sum(figure.reach_m + np.linalg.norm(figure.shift_m) for figure in self.motion.figures))

    def _scan(self, time: np.ndarray) -> np.ndarray:
        """Gaps at times (m, k); where even circles about the bodies are apart, the distance of those is enough."""
        flat = time.ravel()
        line, position = self.line(flat), self.motion.position_m(flat)
        height = np.sum(position * line, axis=1)
        offset = np.linalg.norm(position - height[:, None] * line, axis=1)
        reach = self.reach_m + (np.abs(height) * np.tan(self.sight.sun_radius_rad(flat)) if self.disc else 0.0)
        gap = offset - reach
        near = gap < 0.0
        gap[near] = self.gap(APART, flat[near])
        return gap.reshape(time.shape)

    def inner(self, mode: int) -> tuple[np.ndarray, np.ndarray]:
        """Contacts 2 and 3 (m,) of outlines one inside the other, TWO_INSIDE_ONE or ONE_INSIDE_TWO; nan where never."""
        halves = self.halves
        start, end = np.full(len(halves), np.nan), np.full(len(halves), np.nan)
        here = np.flatnonzero(halves.happens)
        if not len(here):
            return start, end
        a, b = halves.first_s[here], halves.last_s[here]
        time = a[:, None] + (b - a)[:, None] * np.arange(_INNER_SCAN + 1) / _INNER_SCAN
        gap = self.gap(mode, time.ravel()).reshape(time.shape)
        nearest, least = smallest(lambda t: self.gap(mode, t), time, gap)
        within = least < 0.0
        if within.any():
            ends = ends_below(lambda t: self.gap(mode, t), time[within], gap[within], nearest[within], least[within])
            start[here[within]], end[here[within]] = ends
        return start, end

    def depth(self) -> tuple[np.ndarray, np.ndarray]:
        """(m,) greatest covered share of the dimmed body, and depth in magnitudes of equally bright discs."""
        halves = self.halves
        share, depth = np.zeros(len(halves)), np.zeros(len(halves))
        here = np.flatnonzero(halves.happens)
        if not len(here):
            return share, depth
        a, b = halves.first_s[here], halves.last_s[here]
        time = a[:, None] + (b - a)[:, None] * (np.arange(_DEPTH_SCAN) + 0.5) / _DEPTH_SCAN
        flat = time.ravel()
        one, two, both = areas(self.motion.places(flat), self.motion.figures, self.line(flat))
        dimmed = np.where(np.repeat(halves.front[here], _DEPTH_SCAN), one, two)
        share[here] = (both / dimmed).reshape(time.shape).max(axis=1)
        depth[here] = (-2.5 * np.log10(1.0 - both / (one + two))).reshape(time.shape).max(axis=1)
        return share, depth


def _cycles(front: np.ndarray, past: np.ndarray) -> np.ndarray:
    """Numbers (m,) of the conjunctions of either body counted from t0, given whether each lies before t0."""
    cycle = np.zeros(len(front), dtype=int)
    for body in (True, False):
        same = front == body
        cycle[same] = np.arange(np.sum(same)) - np.sum(past[same])
    return cycle
