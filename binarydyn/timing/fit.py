"""From event times to the periods before and after the impact: the fit, and how well each of its numbers is known.

Longitude and mean motions are free, all else has a prior of physical size (terms.py): few events give a wide answer and
no wrong one.  The noise is that of noise.py.  Every count of turns (cycle_count.py) and every minimum (starts.py) that
the data allow is weighed by its evidence (evidence.py), so every number is a mixture of Gaussians.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..constants import HOUR_S
from ..errors import ArgumentError
from .answer import Fit, Timing
from .cycle_count import REACH, counts, sides_of, straight
from .evidence import Weigher
from .mid_times import Readings
from .middles import Middles
from .orbit import Counted
from .outliers import winsorised
from .starts import Minima, distinct, minima, polished
from .task import Task
from .terms import INDEX, TURN, Foreknown
from .told import told

LOSSES = ("gaussian", "student")
DISAGREEMENT = 0.03
"""Scatter about the best fit, in periods (1.48 times the median), from which no count is right: chance makes 0.3."""
_IN_REACH = 40.0
"""Minima whose cost is higher by more than this, in units of the scatter, are not weighed."""
_MOST_ROBUST = 12
"""Minima that are followed where some times may lie far off."""


def timing(
    seen: Readings,
    sigma_s: np.ndarray | None,
    group: np.ndarray | None,
    middles: Middles | None,
    expected: Foreknown,
    loss: str = "gaussian",
    reach: tuple[float, float] = REACH,
) -> Timing:
    """Count and fit.  Events in the order of time, t0 between some of them.

    sigma_s (n,): None where none is stated.  group (n,): events of the same number share an error; None: none do.
    middles: None where conjunctions in longitude were timed.  loss: one of LOSSES, `student` where some times may lie
    far off.  reach: see cycle_count.  InputError for too few events, and where no count makes the times agree.
    """
    _check(seen, loss)
    task = Task.of(seen, sigma_s, group, middles, expected)
    found = _answer(task, counts(task.seen, expected, reach), loss)
    _refuse_disagreement(found.fit, expected, reach)
    return found


def fitted(
    seen: Readings,
    counted_rad: np.ndarray,
    sigma_s: np.ndarray | None,
    group: np.ndarray | None,
    middles: Middles | None,
    expected: Foreknown,
    loss: str = "gaussian",
) -> Fit:
    """The fit where turns are counted already: counted_rad (n,) longitudes of the readings with their turns."""
    _check(seen, loss)
    task = Task.of(seen, sigma_s, group, middles, expected)
    turns = np.round((counted_rad - seen.longitude_rad) / TURN)
    return _answer(task, Counted(task.seen, (task.seen.longitude_rad + TURN * turns)[None]), loss).fit


def _check(seen: Readings, loss: str) -> None:
    sides_of(seen)
    if loss not in LOSSES:
        raise ArgumentError("loss", f"{loss!r} is given, allowed are {', '.join(LOSSES)}; choose one")


def _refuse_disagreement(best: Fit, expected: Foreknown, reach: tuple[float, float]) -> None:
    scatter = 1.4826 * float(np.median(np.abs(best.residual_s)))
    if scatter > DISAGREEMENT * expected.period_h * HOUR_S:
        before, after = (100.0 * part for part in reach)
        raise ArgumentError(
            "events",
            f"the times scatter by {scatter:.0f} s about the best fit, allowed are {100.0 * DISAGREEMENT:g} % of the "
            f"period: none within {before:g} % of {expected.period_h:g} h before and {after:g} % after the impact "
            "joins them; check mutual_orbit.period_h, impact_epoch_utc, kinds and bodies",
        )


def _answer(task: Task, counted: Counted, loss: str) -> Timing:
    """Causes that lie far off are given more room first."""
    first = _minima(task, counted)
    loose = task.loosened(first.chosen(np.arange(1)))
    return _weighed(loose, first if loose is task else _minima(loose, counted), loss)


def _minima(task: Task, counted: Counted) -> Minima:
    begin = straight(counted, task.priors.centre[INDEX["apsidal_rate"]])
    return minima(begin, counted, task.noise.at(1.0, 0.0), task.priors).ranked(_IN_REACH)


def _weighed(task: Task, first: Minima, loss: str) -> Timing:
    """Minima with the errors as stated, once more with those that the data say, weighed by their evidence."""
    scale, tau = task.weigher(first).peak()
    weighing = task.noise.at(scale, tau)
    found = distinct(polished(first.x, first.counted, weighing, task.priors, 10), weighing, task.priors)
    if loss == "gaussian":
        return told(task, found, task.weigher(found).weighed(found.x))
    core = winsorised(found.chosen(np.arange(min(_MOST_ROBUST, len(found.x)))), task.noise, task.priors, tau)
    weigher = Weigher.of(core.minima, core.noise, task.priors, True, core.later_s, core.ln_prior)
    answer = told(task, core.minima, weigher.weighed(core.minima.x))
    mean, sd = answer.fit.scale
    return replace(answer, fit=replace(answer.fit, scale=(core.scale * mean, core.scale * sd), outliers=core.outliers))
