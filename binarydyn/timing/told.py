"""From weighed rows of a fit to what is told of it: the answer, with the counts of turns and the O-C of every event."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from ..constants import HOUR_S
from .answer import Count, Fit, Timing
from .cycle_count import longest_gaps_s
from .evidence import Weighed
from .noise import Noise
from .numbers import change_of, eccentricity_of, mixture_of, turning_of
from .orbit import Counted
from .starts import Minima, Normal
from .task import Task
from .terms import INDEX, NAMES, TURN

_WORTH = 1e-4
"""Least weight of a count that is told."""


def told(task: Task, found: Minima, rows: Weighed) -> Timing:
    """Rows by count of turns, the heaviest first."""
    _, which = np.unique(found.counted.counted_rad.round(6), axis=0, return_inverse=True)
    count = which.reshape(-1)[rows.minimum]
    weights = np.bincount(count, rows.weight)
    order = [k for k in np.argsort(-weights) if weights[k] >= _WORTH]
    counts = tuple(_count(rows.chosen(count == k), found) for k in order)
    return Timing(_fit(task, found, rows, rows.chosen(count == order[0])), counts, *longest_gaps_s(task.seen))


def _count(rows: Weighed, found: Minima) -> Count:
    change = mixture_of(rows, change_of)
    x, _ = rows.moments
    before, after = (float(TURN / x[INDEX[f"rate_{side}"]] / HOUR_S) for side in ("before", "after"))
    cost = float(found.cost[np.unique(rows.minimum)].min())
    return Count(float(rows.weight.sum()), before, after, change.mean, change.sigma, cost)


def _fit(task: Task, found: Minima, rows: Weighed, mine: Weighed) -> Fit:
    """Moments of the rows of the heaviest count (mine); O-C of its best minimum."""
    mean, covariance = mine.moments
    x, number = mine.x[mine.best], mine.minimum[mine.best]
    counted = found.counted.of(number)
    weighing = task.noise.at(1.0, mine.tau_s[mine.best])
    at_best = task.noise.at(mine.scale[mine.best], mine.tau_s[mine.best])
    return Fit(
        values=dict(zip(NAMES, map(float, mean), strict=True)),
        covariance=covariance,
        change=mixture_of(rows, change_of),
        eccentricity=mixture_of(rows, partial(eccentricity_of, side="after")),
        apsidal=mixture_of(rows, turning_of),
        residual_s=counted.late_s(x),
        line_s=counted.line_s(x),
        before_s=counted.before_s(x),
        counted_rad=counted.counted_rad,
        chi2=float(Normal.at(x, counted, weighing, task.priors).cost),
        degrees=len(task.seen.time_s) - int(np.sum(task.priors.precision == 0.0)),
        scale=rows.mean_of(rows.scale),
        tau_s=rows.mean_of(rows.tau_s),
        tried_drift_rad_s2=_tried_drift(task, x, counted, at_best),
        limit_s=_limit_s(task, x, counted, mine),
        stated=task.stated,
        larger=task.larger,
    )


def _tried_drift(task: Task, x: np.ndarray, counted: Counted, weighing) -> tuple[float, float]:
    """With a flat prior."""
    i = INDEX["drift"]
    free = replace(task.priors, precision=np.where(np.arange(len(NAMES)) == i, 0.0, task.priors.precision))
    normal, size = Normal.at(x, counted, weighing, free), task.priors.scale[i]
    return float(x[i] + normal.step[i] * size), float(size * np.sqrt(np.linalg.inv(normal.matrix)[i, i]))


def _limit_s(task: Task, x: np.ndarray, counted: Counted, mine: Weighed) -> float:
    """What the causes of wrong middles add to the sigma of the change, in quadrature."""
    without = replace(task.noise, columns_s=task.noise.columns_s[:, :0])
    whole, less = (_change_sigma_s(task, x, counted, noise, mine) for noise in (task.noise, without))
    return float(np.sqrt(max(whole**2 - less**2, 0.0)))


def _change_sigma_s(task: Task, x: np.ndarray, counted: Counted, noise: Noise, mine: Weighed) -> float:
    normal = Normal.at(x, counted, noise.at(mine.scale[mine.best], mine.tau_s[mine.best]), task.priors)
    covariance = np.linalg.inv(normal.matrix) * np.outer(task.priors.scale, task.priors.scale)
    return float(change_of(x[None], covariance[None])[1][0])
