"""Many searches along time side by side: zeros and minima of a quantity, each in an interval of its own.

Chandrupatla 1997, Adv. Eng. Software 28, 145, for zeros and 1998 for minima, as scipy has them.
"""

from __future__ import annotations

import numpy as np


def smallest(function, time: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """When (m,), to 0.5 s, a function of times is smallest, and how small; its values at times (m, k) are known.

    The values may be too large where they are far from the smallest.
    """
    from scipy.optimize.elementwise import find_minimum

    rows = np.arange(len(time))
    lowest = np.argmin(value, axis=1)
    j = np.clip(lowest, 1, time.shape[1] - 2)
    best = find_minimum(
        function,
        tuple(time[rows, j + d] for d in (-1, 0, 1)),
        tolerances={"xatol": 0.5, "xrtol": 0.0, "fatol": 0.0, "frtol": 0.0},
        maxiter=60,
    )
    exact = function(time[rows, lowest])
    better = best.success & (best.f_x < exact)
    return np.where(better, best.x, time[rows, lowest]), np.where(better, best.f_x, exact)


def root(function, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """(m,) a zero of a function of times (m,) in each [low, high], at whose ends its signs differ; to 1e-6 s."""
    from scipy.optimize.elementwise import find_root

    return find_root(function, (low, high), tolerances={"xatol": 1e-6, "xrtol": 0.0, "fatol": 0.0}).x


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
