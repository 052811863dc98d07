"""The events of one system found in another that differs little from it, in a fraction of the time of a search.

An event is found where the other's secondary has gone as far round, as seen along the line of the event, since t0 (so
a cycle is a cycle, however far the times part); from there contacts 1 and 4 by the secant method on the distance of the
outlines.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..motion.trajectory import Trajectory
from ..sky.event_search import KINDS, EventSearch, Halves
from ..sky.geometry import Sight
from ..sky.motion_between import MotionBetween
from ..sky.outline import APART

_SECANT_STEPS = 6
_SETTLED_S = 0.01
"""Of a step of the secant method; what is left after it is smaller by orders of magnitude."""
_CLOSED_M = 0.01
"""Gap of outlines that counts as touching: 0.1 s at a tenth of a metre a second."""
_BESIDE_S = 60.0


class Along:
    """A run seen along the lines of its events."""

    def __init__(self, run: Trajectory, sight: Sight, sunlight: str = "point"):
        self.motion, self.sight = MotionBetween(run), sight
        self.search = {kind: EventSearch(self.motion, sight, kind, sunlight) for kind in KINDS}

    def angle(self, kind: str) -> np.ndarray:
        """(n,) of the secondary from the line, at the samples, unwrapped from its value in (-pi, pi] at t0."""
        run = self.motion.trajectory
        line, r = self.search[kind].line(run.time_s), run.position_m
        found = np.unwrap(np.arctan2(r[:, 1], r[:, 0]) - np.arctan2(line[:, 1], line[:, 0]))
        return found - 2.0 * np.pi * np.round(self.at_t0(found) / (2.0 * np.pi))

    def at_t0(self, values: np.ndarray) -> float:
        """Of values (n,) at the samples that at t0."""
        return float(values[0] if self.motion.start_s == 0.0 else values[-1])

    def gap(self, kind: str, time: np.ndarray) -> np.ndarray:
        """(m,) distance of the outlines, m; nan outside the run."""
        inside = (time > self.motion.start_s) & (time < self.motion.end_s)
        found = np.full(len(time), np.nan)
        if inside.any():
            found[inside] = self.search[kind].gap(APART, time[inside])
        return found


def contacts_like(nominal: Along, other: Along, kind: str, contacts_s: np.ndarray) -> np.ndarray:
    """(2, n) contacts 1 and 4 in another run of events of a kind with contacts (2, n) in the nominal one; nan where it
    has none."""
    middle = contacts_s.mean(axis=0)
    there, here = nominal.angle(kind), other.angle(kind)
    turn = 2.0 * np.pi * np.round((other.at_t0(here) - nominal.at_t0(there)) / (2.0 * np.pi))
    wanted = np.interp(middle, nominal.motion.trajectory.time_s, there) + turn
    shift = _inverse(wanted, here, other.motion.trajectory.time_s) - middle
    found = _touching(lambda t: other.gap(kind, t), (contacts_s + shift).ravel()).reshape(2, -1)
    return np.where(found[0] < found[1], found, np.nan)


def halves_like(nominal: Along, other: Along, kind: str) -> Halves:
    """What the search finds in the nominal run, where the other has it: its whole events, with their cycles."""
    its = nominal.search[kind].halves
    whole = np.flatnonzero(its.whole)
    first, last = contacts_like(nominal, other, kind, np.stack([its.first_s[whole], its.last_s[whole]]))
    known = np.isfinite(first)
    first, last, whole = first[known], last[known], whole[known]
    front, cycle, beside = its.front[whole], its.cycle[whole], np.full(len(whole), _BESIDE_S)
    middle, there = 0.5 * (first + last), np.ones(len(whole), dtype=bool)
    # how deep the outlines overlap is not asked for
    return Halves(first - beside, last + beside, front, first, last, -beside, middle, cycle, there)


def _inverse(wanted: np.ndarray, angle: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Times at which an angle that grows or falls with time has some values; nan outside."""
    order = slice(None) if angle[-1] > angle[0] else slice(None, None, -1)
    return np.interp(wanted, angle[order], time[order], left=np.nan, right=np.nan)


def _touching(gap: Callable[[np.ndarray], np.ndarray], time: np.ndarray) -> np.ndarray:
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
