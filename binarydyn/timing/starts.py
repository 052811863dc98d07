"""Where the fit of event times has its minima: every count of turns, and for the best of them a scan of apsidal rates.

At a given apsidal rate all else is nearly linear, the direction of the ellipse included, so a scan of the rates within
what is known of them with two steps of Gauss and Newton at each finds the minima that a fit from one start would miss.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .noise import Weighing
from .orbit import Counted
from .terms import INDEX, NAMES, Priors

MOST_ECCENTRIC = 0.6
"""Bound of h and of k."""
MOST_MINIMA = 80
_STEP_OF_ELLIPSE = 0.1
SMALL = np.array([INDEX[name] for name in NAMES if name[:2] in ("h_", "k_")])
_TURNING = INDEX["apsidal_rate"]
_ALL = np.arange(len(NAMES))
_SCANNED = 10
"""Counts whose apsidal rates are scanned."""
_WIDE, _FEWEST, _MOST = 3.0, 25, 151
"""Sigmas of the apsidal rate within which it is scanned, and trial rates: six a turn of the apsides over the data."""
_IN_REACH = 60.0
"""Counts whose cost is higher by more than this, in units of the scatter, are not looked at any more."""
_SAME = 4.0
"""Two minima of one count nearer than this in chi2 of the one about the other are one: it would be weighed twice."""


@dataclass(frozen=True)
class Minima:
    """Parameters x (b, 9), counts (b, n) and costs (b,): r^T C^-1 r and that of the priors."""

    x: np.ndarray
    counted: Counted
    cost: np.ndarray

    def chosen(self, which: np.ndarray) -> Minima:
        """Some of them."""
        return Minima(self.x[which], self.counted.of(which), self.cost[which])

    def ranked(self, within: float) -> Minima:
        """The best first, without those whose cost is more above it, in units of the scatter."""
        order = np.argsort(self.cost, kind="stable")
        worse = self.cost[order] - self.cost[order[0]]
        return self.chosen(order[worse <= within * max(1.0, self.cost[order[0]] / self.counted.counted_rad.shape[-1])])


@dataclass(frozen=True)
class Normal:
    """Normal equations at parameters (b, 9), in units of their scale, with the priors: matrix (b, 9, 9), gradient
    (b, 9), cost (b,)."""

    matrix: np.ndarray
    gradient: np.ndarray
    cost: np.ndarray

    @classmethod
    def at(
        cls, x: np.ndarray, counted: Counted, weighing: Weighing, priors: Priors, later_s: np.ndarray | float = 0.0
    ) -> Normal:
        """later_s (.., n): is added to the O-C."""
        late, slopes = counted.late_and_slopes(x)
        both = np.concatenate([(late + later_s)[..., None], slopes * priors.scale], axis=-1)
        return cls.of(weighing.gram(both), priors.away(x), priors.scaled)

    @classmethod
    def of(cls, gram: np.ndarray, away: np.ndarray, precision: np.ndarray) -> Normal:
        """From products (b, 10, 10) of O-C and slopes, and precision (9, 9)."""
        pull = away @ precision
        return cls(
            gram[..., 1:, 1:] + precision,
            gram[..., 1:, 0] + pull,
            gram[..., 0, 0] + np.sum(pull * away, axis=-1),
        )

    @property
    def step(self) -> np.ndarray:
        """(b, 9) to the minimum of the linear problem, per scale."""
        return -np.linalg.solve(self.matrix, self.gradient[..., None])[..., 0]


def polished(
    x: np.ndarray, counted: Counted, weighing: Weighing, priors: Priors, steps: int, free: np.ndarray = _ALL
) -> Minima:
    """Steps of Gauss and Newton from parameters (b, 9), halved where they climb; the lowest that was met."""
    best, cost, move, trial = x, np.full(len(x), np.inf), np.zeros_like(x), x
    for k in range(steps + 1):
        normal = Normal.at(trial, counted, weighing, priors)
        lower = normal.cost < cost
        gain = np.where(lower, cost - normal.cost, 0.0)
        best, cost = np.where(lower[:, None], trial, best), np.where(lower, normal.cost, cost)
        if k == steps or (k and np.all(gain[lower] < 1e-6) and lower.all()):
            break
        move = np.where(lower[:, None], _move(normal, priors, free), 0.5 * move)
        trial = _bounded(best + move)
    return Minima(best, counted, cost)


def _move(normal: Normal, priors: Priors, free: np.ndarray) -> np.ndarray:
    move = np.zeros_like(normal.gradient)
    part = Normal(normal.matrix[:, free[:, None], free], normal.gradient[:, free], normal.cost)
    move[:, free] = part.step * priors.scale[free]
    move[:, SMALL] = np.clip(move[:, SMALL], -_STEP_OF_ELLIPSE, _STEP_OF_ELLIPSE)
    return move


def _bounded(x: np.ndarray) -> np.ndarray:
    """Ellipses stay ellipses."""
    out = x.copy()
    out[:, SMALL] = np.clip(out[:, SMALL], -MOST_ECCENTRIC, MOST_ECCENTRIC)
    return out


def minima(x: np.ndarray, counted: Counted, weighing: Weighing, priors: Priors) -> Minima:
    """All that are found from straight lines (b, 9) for each count, the best first."""
    first = polished(x, counted, weighing, priors, 6).ranked(_IN_REACH)
    scanned = [_scanned(first.chosen(np.array([i])), weighing, priors) for i in range(min(_SCANNED, len(first.x)))]
    return distinct(_together([*scanned, first.chosen(np.arange(_SCANNED, len(first.x)))]), weighing, priors)


def _scanned(one: Minima, weighing: Weighing, priors: Priors) -> Minima:
    """The minima of one count over the apsidal rates, and that which is known already."""
    span = float(np.abs(one.counted.seen.time_s).max())
    sigma = priors.scale[_TURNING]
    number = int(np.clip(6.0 * 2.0 * _WIDE * sigma * span / (2.0 * np.pi), _FEWEST, _MOST))
    start = np.repeat(one.x, number, axis=0)
    start[:, SMALL] = 1e-3
    start[:, _TURNING] = priors.centre[_TURNING] + sigma * np.linspace(-_WIDE, _WIDE, number)
    counted = replace(one.counted, counted_rad=one.counted.counted_rad[0])
    rough = polished(start, counted, weighing, priors, 3, np.delete(_ALL, _TURNING))
    low = np.concatenate([[np.inf], rough.cost, [np.inf]])
    begin = rough.x[(rough.cost <= low[:-2]) & (rough.cost <= low[2:])]
    found = polished(begin, counted, weighing, priors, 20)
    same = replace(counted, counted_rad=np.repeat(one.counted.counted_rad, len(found.x), axis=0))
    return _together([one, Minima(found.x, same, found.cost)])


def _together(parts: list[Minima]) -> Minima:
    counted = np.concatenate([part.counted.counted_rad for part in parts])
    x, cost = (np.concatenate([getattr(part, name) for part in parts]) for name in ("x", "cost"))
    return Minima(x, replace(parts[0].counted, counted_rad=counted), cost)


def distinct(found: Minima, weighing: Weighing, priors: Priors) -> Minima:
    """The best first, at most MOST_MINIMA, without those that are another one of the same count."""
    found = found.ranked(_IN_REACH)
    kept: list[int] = []
    matrices: dict[int, np.ndarray] = {}
    for i, (x, counted_rad) in enumerate(zip(found.x, found.counted.counted_rad, strict=True)):
        apart = ((x - found.x[kept]) / priors.scale)[:, None, :]
        near = [d[0] @ matrices[k] @ d[0] < _SAME for k, d in zip(kept, apart, strict=True)]
        same = [np.array_equal(counted_rad, found.counted.counted_rad[k]) for k in kept]
        if not np.any(np.array(near, dtype=bool) & np.array(same, dtype=bool)):
            kept.append(i)
            one = replace(found.counted, counted_rad=counted_rad)
            matrices[i] = Normal.at(x[None], one, weighing, priors).matrix[0]
        if len(kept) == MOST_MINIMA:
            break
    return found.chosen(np.array(kept))
