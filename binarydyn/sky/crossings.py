"""Many searches along time side by side: zeros and minima of a quantity, each in an interval of its own."""

from __future__ import annotations

import math

import numpy as np

_GOLDEN = 0.5 * (math.sqrt(5.0) - 1.0)
_NEAREST_S, _ROOT_S = 0.5, 1e-6
_MOST_STEPS = 100


def smallest(function, time: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """When (m,), to 0.5 s, a function of times is smallest, and how small; its values at times (m, k) are known.

    By golden sections about the smallest value; where that is the first or the last, it is taken.  The values may be
    too large where they are far from it.
    """
    rows = np.arange(len(time))
    lowest = np.argmin(value, axis=1)
    j = np.clip(lowest, 1, time.shape[1] - 2)
    low, high = time[rows, j - 1], time[rows, j + 1]
    a, b = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    fa, fb = function(a), function(b)
    while np.any(high - low > _NEAREST_S):
        left = fa < fb
        low, high = np.where(left, low, a), np.where(left, b, high)
        new = np.where(left, high - _GOLDEN * (high - low), low + _GOLDEN * (high - low))
        f_new = function(new)
        a, b, fa, fb = (np.where(left, *pair) for pair in ((new, b), (a, new), (f_new, fb), (fa, f_new)))
    best, f_best = np.where(fa < fb, a, b), np.minimum(fa, fb)
    exact = function(time[rows, lowest])
    better = (f_best < exact) & (lowest == j)
    return np.where(better, best, time[rows, lowest]), np.where(better, f_best, exact)


def root(function, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """(m,) a zero of a function of times (m,) in each [low, high], at whose ends its signs differ; to 1e-6 s.

    Inverse quadratic steps where three values bend little, else halves (Chandrupatla 1997, Adv. Eng. Software 28, 145).
    """
    found, going = np.empty(len(low)), np.arange(len(low))
    a, b, step = low, high, np.full(len(low), 0.5)
    fa, fb = function(a), function(b)
    for _ in range(_MOST_STEPS):
        x = a + step * (b - a)
        fx = function(x)
        same = np.sign(fx) == np.sign(fa)
        b, c, fb, fc = (np.where(same, *pair) for pair in ((b, a), (a, b), (fb, fa), (fa, fb)))
        a, fa = x, fx
        found[going] = np.where(np.abs(fa) < np.abs(fb), a, b)
        least = _ROOT_S / np.maximum(np.abs(b - a), _ROOT_S)
        wide = (least < 0.5) & (fa != 0.0)
        if not wide.any():
            break
        a, b, c, fa, fb, fc, least, going = (part[wide] for part in (a, b, c, fa, fb, fc, least, going))
        step = np.clip(_towards(a, b, c, fa, fb, fc), least, 1.0 - least)
    return found


def _towards(a, b, c, fa, fb, fc) -> np.ndarray:
    """(m,) share of the way from a to b where time, as a parabola of three values, has their zero; else a half."""
    place, height = (a - b) / (c - b), (fa - fb) / (fc - fb)
    straight = (height * height < place) & ((1.0 - height) ** 2 < 1.0 - place)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    return np.where(straight, step, 0.5)


def ends_below(
    function, time: np.ndarray, gap: np.ndarray, nearest: np.ndarray, least: np.ndarray
) -> tuple[np.ndarray, ...]:
    """(m,) first and last instant at which a gap is below zero, known at times (m, k) and at its smallest.

    Where it is below zero at an end of the times, that end; where never, when it is smallest.
    """
    rows = np.arange(len(time))
    below = gap < 0.0
    some = below.any(axis=1)
    count = time.shape[1]
    i = np.argmax(below, axis=1)
    j = count - 1 - np.argmax(below[:, ::-1], axis=1)
    # without a sample below zero the dip is between two samples, on either side of the smallest
    place = np.clip(np.sum(time < nearest[:, None], axis=1), 1, count - 1)
    within = np.concatenate([np.where(some, time[rows, k], nearest) for k in (i, j)])
    without = np.concatenate(
        [
            np.where(some, time[rows, np.maximum(i - 1, 0)], time[rows, place - 1]),
            np.where(some, time[rows, np.minimum(j + 1, count - 1)], time[rows, place]),
        ]
    )
    at_end = np.concatenate([some & (i == 0), some & (j == count - 1)])
    search = np.concatenate([least < 0.0] * 2) & ~at_end
    if search.any():
        low, high = np.minimum(within, without)[search], np.maximum(within, without)[search]
        within[search] = root(function, low, high)
    return within[: len(rows)], within[len(rows) :]
