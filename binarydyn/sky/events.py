"""Mutual events of a run: eclipses and occultations of both bodies, their contacts, middle, extent and depth.

Between two instants at which the secondary is as far from the Sun (from the observer) as the primary, the nearer body
may cast its shadow on (hide) the other.  Seen along that line both are outlines (outline.py), and the four contacts are
the roots of two gaps: outlines touch from outside (1, 4), the smaller one lies within the other (2, 3).  With `disc`
the Sun has a radius: contacts 1 and 4 are those of the penumbra, 2 and 3 of a total eclipse those of the umbra; the
penumbra's width is that at the distance of the centres along the line.
Times are instants at the system, s from t0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..motion.trajectory import Trajectory
from .crossings import ends_below, root, smallest
from .geometry import Sight, Sky
from .motion_between import MotionBetween
from .outline import APART, ONE_INSIDE_TWO, TWO_INSIDE_ONE, gaps
from .overlap import areas

KINDS = ("eclipse", "occultation")
BODIES = ("primary", "secondary")
GRAZING_SHARE = 0.02
"""Of the dimmed body's outline: a partial event that takes less is called grazing (common practice)."""
_SCAN = 64
_INNER_SCAN = 32
_DEPTH_SCAN = 8
_EDGE_S = 1e-3
"""A contact or a conjunction that is nearer to the run's end is the end itself."""


@dataclass(frozen=True)
class Event:
    """One event, or one that does not take place (`absent`).

    kind: eclipse or occultation.  body: the one that is dimmed.  extent: total (all of it), annular (the other body's
    outline lies within), partial, grazing (partial, less than GRAZING_SHARE of the body), absent.  cycle: conjunctions
    of this kind and body since t0, 0 the first after it, -1 the last before it.  contacts_s: four instants, None where
    there is no such contact or where the run does not reach it.  mid_s: halfway between contacts 1 and 4; of an absent
    one when the outlines are nearest.  miss_m: smallest distance of the outlines of an absent one, else 0.
    share: greatest part of the dimmed body's outline that is covered.  depth_mag: see events().
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

    @property
    def duration_s(self) -> float | None:
        """Contact 4 minus contact 1."""
        first, _, _, last = self.contacts_s
        return None if first is None or last is None else last - first

    @property
    def is_cut(self) -> bool:
        """Whether the run begins or ends within the event."""
        return self.extent != "absent" and self.duration_s is None


def events(trajectory: Trajectory, sky: Sky, sunlight: str = "point") -> list[Event]:
    """All conjunctions of a run with what happens there, in the order of time.

    depth_mag is -2.5 log10(1 - covered area / area of both outlines) along the line of the event, at its deepest: the
    depth of equally bright discs.  That is exact at phase angle 0 for surfaces without limb darkening; elsewhere, and
    where an eclipse and an occultation overlap, light_curve has the depth.  InputError for fewer than four samples or
    stored bodies.
    """
    motion = MotionBetween(trajectory)
    sight = Sight(sky, motion.start_s, motion.end_s)
    found = []
    for kind in KINDS:
        search = _Search(motion, sight, kind, sunlight == "disc" and kind == "eclipse")
        found += search.found()
    return sorted(found, key=lambda event: event.mid_s)


def mid_times(
    trajectory: Trajectory, sight: Sight, kind: str, sunlight: str = "point"
) -> tuple[np.ndarray, np.ndarray]:
    """Middles (m,), s, of the whole events of one kind, and which of them dim the primary: events() in a third of the
    time, without depths.
    """
    search = _Search(MotionBetween(trajectory), sight, kind, sunlight == "disc" and kind == "eclipse")
    low, high, front = search.halves()
    if not len(low):
        return np.empty(0), np.empty(0, dtype=bool)
    first, last, miss, _ = search.outer(low, high)
    whole = (miss < 0.0) & (first - low >= _EDGE_S) & (high - last >= _EDGE_S)
    return 0.5 * (first + last)[whole], front[whole]


class _Search:
    """Events of one kind."""

    def __init__(self, motion: MotionBetween, sight: Sight, kind: str, disc: bool):
        self.motion, self.kind, self.disc, self.sight = motion, kind, disc, sight
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

    def found(self) -> list[Event]:
        low, high, front = self.halves()
        if not len(low):
            return []
        first, last, miss, nearest = self.outer(low, high)
        happens = miss < 0.0
        inner = {
            name: self._inner(mode, first, last, happens)
            for name, mode in (("two", TWO_INSIDE_ONE), ("one", ONE_INSIDE_TWO))
        }
        self.depth = self._depth(first, last, front, happens)
        # the run may begin after a conjunction, or end before one, of which it still shows an event
        early, late = nearest < self.motion.start_s + _EDGE_S, nearest > self.motion.end_s - _EDGE_S
        inside = ~(early | late)
        cycles = _cycles(front, np.where(inside, nearest < 0.0, early))
        return [
            self._event(
                bool(front[i]), int(cycles[i]), (low[i], high[i]), (first[i], last[i]), inner, i, miss[i], nearest[i]
            )
            for i in range(len(low))
            if inside[i] or happens[i]
        ]

    def _event(self, second_is_front, cycle, half, ends, inner, i, miss, nearest) -> Event:
        body = "primary" if second_is_front else "secondary"
        if miss >= 0.0:
            nothing = (None, None, None, None)
            return Event(self.kind, body, "absent", cycle, nothing, float(nearest), float(miss), 0.0, 0.0)
        share, depth = self.depth[0][i], self.depth[1][i]
        covered, within = ("one", "two") if second_is_front else ("two", "one")
        extent = "partial"
        middle: tuple[float | None, float | None] = (None, None)
        for word, name in (("total", covered), ("annular", within)):
            start, end = inner[name][0][i], inner[name][1][i]
            if np.isfinite(start):
                extent, middle = word, (float(start), float(end))
        if extent == "partial" and share < GRAZING_SHARE:
            extent = "grazing"
        first, last = (None if abs(t - edge) < _EDGE_S else float(t) for t, edge in zip(ends, half, strict=True))
        mid = 0.5 * (ends[0] + ends[1])
        return Event(
            self.kind, body, extent, cycle, (first, *middle, last), float(mid), 0.0, float(share), float(depth)
        )

    def halves(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
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

    def _scan(self, time: np.ndarray) -> np.ndarray:
        """Gaps at times (m, k); where even circles about the bodies are apart, the distance of those is enough."""
        flat = time.ravel()
        line, position = self.line(flat), self.motion.position_m(flat)
        height = np.sum(position * line, axis=1)
        offset = np.linalg.norm(position - height[:, None] * line, axis=1)
        reach: Any = sum(figure.reach_m + np.linalg.norm(figure.shift_m) for figure in self.motion.figures)
        reach = reach + (np.abs(height) * np.tan(self.sight.sun_radius_rad(flat)) if self.disc else 0.0)
        gap = offset - reach
        near = gap < 0.0
        gap[near] = self.gap(APART, flat[near])
        return gap.reshape(time.shape)

    def _inner(self, mode: int, first: np.ndarray, last: np.ndarray, happens: np.ndarray) -> tuple[np.ndarray, ...]:
        """Contacts 2 and 3 (m,); nan where the one outline never lies within the other."""
        start, end = np.full(len(first), np.nan), np.full(len(first), np.nan)
        here = np.flatnonzero(happens)
        if not len(here):
            return start, end
        a, b = first[here], last[here]
        time = a[:, None] + (b - a)[:, None] * np.arange(_INNER_SCAN + 1) / _INNER_SCAN
        gap = self.gap(mode, time.ravel()).reshape(time.shape)
        nearest, least = smallest(lambda t: self.gap(mode, t), time, gap)
        within = least < 0.0
        if within.any():
            ends = ends_below(lambda t: self.gap(mode, t), time[within], gap[within], nearest[within], least[within])
            start[here[within]], end[here[within]] = ends
        return start, end

    def _depth(self, first, last, front, happens) -> tuple[np.ndarray, np.ndarray]:
        """(m,) greatest covered share of the dimmed body, and depth in magnitudes."""
        share, depth = np.zeros(len(first)), np.zeros(len(first))
        here = np.flatnonzero(happens)
        if not len(here):
            return share, depth
        a, b = first[here], last[here]
        time = a[:, None] + (b - a)[:, None] * (np.arange(_DEPTH_SCAN) + 0.5) / _DEPTH_SCAN
        flat = time.ravel()
        one, two, both = areas(self.motion.places(flat), self.motion.figures, self.line(flat))
        dimmed = np.where(np.repeat(front[here], _DEPTH_SCAN), one, two)
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
