"""Few instants at which smooth light is computed, and the polynomials that carry it to all the others.

Light of whole bodies is smooth over minutes: of two waves in a turn of the primary, on nodes an eighteenth of the turn
apart, a polynomial of degree 5 leaves (pi/4.5)^6 5/1024 = 0.06 % within a night and 0.3 % in its first and last
interval (Lagrange's remainder; any handbook), 0.01 and 0.06 mmag of 20.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

A_TURN = 18.0
"""Nodes in a turn of the body that turns fastest."""
_COUNT = 6
"""Of nodes on which each polynomial stands."""


@dataclass(frozen=True)
class Nodes:
    """k nodes at time_s (k,), ascending; the value at each of m instants is the sum of weight (m, 6) times those from
    the first (m,) on."""

    time_s: np.ndarray
    first: np.ndarray
    weight: np.ndarray

    @classmethod
    def of(cls, time_s: np.ndarray, spacing_s: float) -> Nodes:
        """For instants (m,), so far apart at most; where that saves nothing, and for 0, each instant itself."""
        order = np.argsort(time_s, kind="stable")
        parts, first, weight = [], np.empty(len(time_s), dtype=np.int64), np.zeros((len(time_s), _COUNT))
        begun = 0
        for some in np.split(order, 1 + np.flatnonzero(np.diff(time_s[order]) > spacing_s)):
            nodes = _evenly(time_s[some], spacing_s)
            if len(nodes) < len(some):
                x = (time_s[some] - nodes[0]) / (nodes[1] - nodes[0])
                begin = np.clip(np.floor(x).astype(int) - _COUNT // 2 + 1, 0, len(nodes) - _COUNT)
                weight[some] = _of_lagrange(x - begin)
            else:
                nodes, begin = time_s[some], np.arange(len(some))
                weight[some, 0] = 1.0
            first[some] = begun + begin
            begun += len(nodes)
            parts.append(nodes)
        return cls(np.concatenate(parts), first, weight)

    def lines(self, time_s: np.ndarray, line: np.ndarray) -> np.ndarray:
        """(k, 3) of unit vectors (m, 3) at the instants, which turn by less than a degree a day."""
        order = np.argsort(time_s, kind="stable")
        return np.column_stack([np.interp(self.time_s, time_s[order], line[order, j]) for j in range(3)])


def _evenly(time_s: np.ndarray, spacing_s: float) -> np.ndarray:
    """From the first to the last of ascending instants; as many as these where there is no spacing."""
    if not spacing_s > 0.0:
        return time_s
    count = max(_COUNT, int(np.ceil(np.ptp(time_s) / spacing_s)) + 1)
    return np.linspace(time_s[0], time_s[-1], count)


def _of_lagrange(x: np.ndarray) -> np.ndarray:
    """(m, 6) weights of values at 0 .. 5 for the polynomial through them at x (m,)."""
    weight = np.ones((len(x), _COUNT))
    for i in range(_COUNT):
        for j in range(_COUNT):
            if i != j:
                weight[:, i] *= (x - j) / (i - j)
    return weight
