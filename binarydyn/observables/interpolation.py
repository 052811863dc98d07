"""What happens between samples: passages and extrema on the polynomial through four samples and their rates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Pieces:
    """One Hermite polynomial of degree 7 for each of m intervals, in Newton's form.

    It takes the values and the rates of the two samples at either side (one-sided at the ends of the table), so its
    error falls as the eighth power of the step; about 1e-5 of an oscillation sampled five times a cycle.
    """

    origin_s: np.ndarray
    nodes_s: np.ndarray  # (8, m) or (8, m, 1), from the origin, each sample twice
    coefficients: np.ndarray  # (8, m) or (8, m, c)

    def at(self, t: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Value, first and second derivative at t (m,), s from the origin."""
        p = self.coefficients[7]
        p1 = p2 = np.zeros_like(p)
        for node, c in zip(self.nodes_s[6::-1], self.coefficients[6::-1], strict=True):
            x = t - node
            p, p1, p2 = p * x + c, p1 * x + p, p2 * x + 2.0 * p1
        return p, p1, p2


def pieces(time_s: np.ndarray, value: np.ndarray, rate: np.ndarray, interval: np.ndarray) -> Pieces:
    """Polynomials for the intervals [k, k+1], k = `interval` (m,), of a table of at least four samples.

    Tables (n, c) give polynomials of c columns side by side, to be asked at times (m, 1).
    """
    pick = np.clip(interval - 1, 0, len(time_s) - 4) + np.repeat(np.arange(4), 2)[:, None]
    origin = time_s[interval]
    wide = (..., *(None,) * (value.ndim - 1))
    z, doubled = (time_s[pick] - origin)[wide], (pick[1:] == pick[:-1])[wide]
    table = value[pick]
    found = [table[0]]
    table = np.where(doubled, rate[pick[1:]], np.diff(table, axis=0) / _gap(z, 1))
    found.append(table[0])
    for level in range(2, 8):
        table = np.diff(table, axis=0) / _gap(z, level)
        found.append(table[0])
    return Pieces(origin, z, np.array(found))


def _gap(z: np.ndarray, level: int) -> np.ndarray:
    gap = z[level:] - z[:-level]
    return np.where(gap == 0.0, 1.0, gap)


def _root(function, low: np.ndarray, high: np.ndarray, guess: np.ndarray) -> np.ndarray:
    """Rising zero of `function` (value and derivative) in each [low, high]: Newton's steps, else bisection."""
    x, close = np.clip(guess, low, high), 1e-9 * (high - low)
    for _ in range(60):
        f, slope = function(x)
        low, high = np.where(f < 0.0, x, low), np.where(f < 0.0, high, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            new = x - f / slope
        new = np.where((new >= low) & (new <= high), new, 0.5 * (low + high))
        if np.all(np.abs(new - x) <= close):  # the steps shrink quadratically, so what is left is rounding
            return new
        x = new
    return x


def passages(time_s: np.ndarray, value: np.ndarray, rate: np.ndarray, targets: np.ndarray) -> np.ndarray:
    """Times (m,), s, at which a rising quantity passes each of the targets; these lie within the table."""
    k = np.clip(np.searchsorted(value, targets, side="right") - 1, 0, len(value) - 2)
    piece, step = pieces(time_s, value, rate, k), time_s[k + 1] - time_s[k]
    guess = step * (targets - value[k]) / (value[k + 1] - value[k])

    def excess(t):
        p, p1, _ = piece.at(t)
        return p - targets, p1

    return piece.origin_s + _root(excess, np.zeros_like(step), step, guess)


def extrema(time_s: np.ndarray, value: np.ndarray, rate: np.ndarray, sign: int) -> tuple[np.ndarray, np.ndarray]:
    """Times, s, and values of local minima (sign = +1) or maxima (-1): where the rate changes sign."""
    k = np.flatnonzero((sign * rate[:-1] < 0.0) & (sign * rate[1:] >= 0.0))
    if len(k) == 0:
        return np.empty(0), np.empty(0)
    piece, step = pieces(time_s, value, rate, k), time_s[k + 1] - time_s[k]
    guess = step * rate[k] / (rate[k] - rate[k + 1])

    def climb(t):
        _, p1, p2 = piece.at(t)
        return sign * p1, sign * p2

    t = _root(climb, np.zeros_like(step), step, guess)
    return piece.origin_s + t, piece.at(t)[0]


def values_at(time_s: np.ndarray, value: np.ndarray, rate: np.ndarray, at_s: np.ndarray) -> np.ndarray:
    """The quantity (m,) at times within the table."""
    k = np.clip(np.searchsorted(time_s, at_s, side="right") - 1, 0, len(time_s) - 2)
    piece = pieces(time_s, value, rate, k)
    return piece.at(at_s - piece.origin_s)[0]
