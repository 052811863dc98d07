"""From event times to the periods before and after the impact: the fit, and how well each of its numbers is known.

Longitude and mean motions are free, all else has a prior of physical size (terms.py): few events give a wide answer and
no wrong one.  The noise is that of noise.py.  Every count of turns (cycle_count.py) and every minimum (starts.py) that
the data allow is weighed by its evidence (evidence.py), so every number is a mixture of Gaussians.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..constants import HOUR_S
from ..errors import ArgumentError
from .cycle_count import REACH, counts, longest_gaps_s, sides_of, straight
from .evidence import UNSTATED_SIGMA_S, Weighed, Weigher
from .mid_times import Readings
from .middles import Middles
from .mixture import Mixture, mixed
from .noise import Noise
from .orbit import Counted
from .outliers import winsorised
from .starts import Minima, Normal, distinct, minima, polished
from .terms import INDEX, NAMES, TURN, Foreknown, Priors

LOSSES = ("gaussian", "student")
DISAGREEMENT = 0.03
"""Scatter about the best fit, in periods (1.48 times the median), from which no count is right: chance makes 0.3."""
UNNAMED = "shapes, pole or surface"
CERTAIN = 0.99
"""Weight from which one count of turns is taken for the right one."""
_WORTH = 1e-4
"""Least weight of a count that is told."""
_IN_REACH = 40.0
MOST_OFF = 3.0
"""Sigmas of its prior from which a cause of wrong middles is taken to be larger than was said."""
_ROUNDS = 6
_BEST = np.arange(1)
_MOST_ROBUST = 12
"""Minima that are followed where some times may lie far off."""


@dataclass(frozen=True)
class Count:
    """One count of turns: its weight, its periods, the change and its sigma, chi2 of its best minimum."""

    weight: float
    period_before_h: float
    period_after_h: float
    change_s: float
    change_sigma_s: float
    chi2: float


@dataclass(frozen=True)
class Fit:
    """The fit with the heaviest count of turns, and the period change over all of them.

    values, covariance (9, 9): of the parameters (terms.NAMES), moments of the heaviest count.  change, s, eccentricity
    (after t0) and apsidal, rad/s: mixtures over everything.  Per event (n,), s: residual_s, O-C against the whole
    model; line_s, the same without the ellipses' swing; before_s, O-C against what holds before t0.  counted_rad:
    longitudes with their turns.  chi2: with the sigmas as stated, degrees: of freedom.  scale, tau_s: mean and sd of
    the factor on the sigmas, and of the common error of a group.  tried_drift_rad_s2: the drift of the mean motion and
    its sigma that the data alone give.  limit_s: the part of the change's sigma that more measurements of the same
    kind would leave: what the model of the middles may have wrong.  outliers: times that lie FAR off, where the loss
    looks for them.  stated: whether sigmas were given.  larger: causes of wrong middles that lie far off,
    and by how much their sigma was made larger.
    """

    values: dict[str, float]
    covariance: np.ndarray
    change: Mixture
    eccentricity: Mixture
    apsidal: Mixture
    residual_s: np.ndarray
    line_s: np.ndarray
    before_s: np.ndarray
    counted_rad: np.ndarray
    chi2: float
    degrees: int
    scale: tuple[float, float]
    tau_s: tuple[float, float]
    tried_drift_rad_s2: tuple[float, float]
    limit_s: float
    stated: bool
    larger: tuple[tuple[str, float], ...]
    outliers: int | None = None

    @property
    def count(self) -> int:
        """Number of events."""
        return len(self.residual_s)

    def sigma(self, *gradient: tuple[str, float]) -> float:
        """One sigma of a quantity with these derivatives with respect to parameters."""
        g = np.zeros(len(NAMES))
        for name, slope in gradient:
            g[INDEX[name]] += slope
        return float(np.sqrt(g @ self.covariance @ g))

    def period_h(self, side: str) -> float:
        """Mean sidereal period, `before` or `after`, at t0."""
        return TURN / self.values[f"rate_{side}"] / HOUR_S

    def period_sigma_s(self, side: str) -> float:
        """Of the same."""
        return self.sigma((f"rate_{side}", TURN / self.values[f"rate_{side}"] ** 2))

    @property
    def change_s(self) -> float:
        """Period after minus period before: the mean over all counts."""
        return self.change.mean

    @property
    def change_sigma_s(self) -> float:
        """Of the same."""
        return self.change.sigma

    def of(self, name: str) -> tuple[float, float]:
        """A parameter and its sigma."""
        return self.values[name], self.sigma((name, 1.0))

    @property
    def eccentricity_after(self) -> tuple[float, float]:
        """And its sigma."""
        return self.eccentricity.mean, self.eccentricity.sigma

    @property
    def eccentricity_before(self) -> tuple[float, float]:
        """Of an ellipse before t0, and its sigma."""
        return eccentricity_of(np.array([self.values[name] for name in NAMES]), self.covariance, "before")

    @property
    def scatter_s(self) -> float:
        """Root mean square of the O-C against the model, for its degrees of freedom."""
        return float(np.sqrt(np.sum(self.residual_s**2) / max(self.degrees, 1)))


@dataclass(frozen=True)
class Timing:
    """The fit, the counts of turns with their weights, the heaviest first, and the longest gap between events on
    either side."""

    fit: Fit
    counts: tuple[Count, ...]
    gap_before_s: float
    gap_after_s: float

    @property
    def others(self) -> tuple[Count, ...]:
        """Counts beside the first where that is not CERTAIN."""
        return self.counts[1:] if self.counts[0].weight < CERTAIN else ()


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
    sides_of(seen)
    task = _Task.of(seen, sigma_s, group, middles, expected, loss)
    found = task.answer(counts(task.seen, expected, reach))
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
    sides_of(seen)
    task = _Task.of(seen, sigma_s, group, middles, expected, loss)
    turns = np.round((counted_rad - seen.longitude_rad) / TURN)
    return task.answer(Counted(task.seen, (task.seen.longitude_rad + TURN * turns)[None])).fit


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


@dataclass(frozen=True)
class _Task:
    """What is fitted: readings of conjunctions, their noise, priors; stated: whether sigmas are."""

    seen: Readings
    noise: Noise
    priors: Priors
    stated: bool
    loss: str
    loosened: np.ndarray
    causes: tuple[str, ...]

    @classmethod
    def of(cls, seen, sigma_s, group, middles: Middles | None, expected: Foreknown, loss: str) -> _Task:
        if loss not in LOSSES:
            raise ArgumentError("loss", f"{loss!r} is given, allowed are {', '.join(LOSSES)}; choose one")
        if middles is not None:
            seen = seen.earlier(middles.offset_s)
        sigma = np.full(len(seen.time_s), UNSTATED_SIGMA_S) if sigma_s is None else sigma_s
        noise = Noise.of(sigma, group, None if middles is None else middles.columns_s)
        span = float(np.abs(seen.time_s).max())
        factor, causes = np.ones(noise.causes_s.shape[1]), () if middles is None else middles.causes
        return cls(seen, noise, Priors.of(expected, span), sigma_s is not None, loss, factor, causes)

    def answer(self, counted: Counted) -> Timing:
        """Minima with the errors as stated, once more with those that the data say, weighed by their evidence."""
        first = self._minima(counted)
        loose = self._loosened(first)
        return loose._weighed(first if loose is self else loose._minima(counted))

    def _minima(self, counted: Counted) -> Minima:
        begin = straight(counted, self.priors.centre[INDEX["apsidal_rate"]])
        return minima(begin, counted, self.noise.at(1.0, 0.0), self.priors).ranked(_IN_REACH)

    def _loosened(self, first: Minima) -> _Task:
        """With wider priors of those causes that the best minimum finds more than MOST_OFF sigmas off."""
        task = self
        for _ in range(_ROUNDS):
            scale, tau = task._weigher(first.chosen(_BEST)).peak()
            weighing = task.noise.at(scale, tau)
            first = polished(first.x[:1], first.counted.of(_BEST), weighing, self.priors, 10)
            late = first.counted.late_s(first.x)[0]
            off = task.noise.causes_s.T @ weighing.applied(late[:, None])[:, 0]
            if np.all(np.abs(off) <= MOST_OFF):
                break
            factor = np.where(np.abs(off) > MOST_OFF, np.abs(off), 1.0)
            task = replace(task, noise=task.noise.loosened(factor), loosened=task.loosened * factor)
        return task

    def _weighed(self, first: Minima) -> Timing:
        scale, tau = self._weigher(first).peak()
        weighing = self.noise.at(scale, tau)
        found = distinct(polished(first.x, first.counted, weighing, self.priors, 10), weighing, self.priors)
        if self.loss == "gaussian":
            return self._told(found, self._weigher(found).weighed(found.x))
        core = winsorised(found.chosen(np.arange(min(_MOST_ROBUST, len(found.x)))), self.noise, self.priors, tau)
        weigher = Weigher.of(core.minima, core.noise, self.priors, True, core.later_s, core.ln_prior)
        told = self._told(core.minima, weigher.weighed(core.minima.x))
        scale_sd = (core.scale * told.fit.scale[0], core.scale * told.fit.scale[1])
        return replace(told, fit=replace(told.fit, scale=scale_sd, outliers=core.outliers))

    def _weigher(self, found: Minima) -> Weigher:
        return Weigher.of(found, self.noise, self.priors, self.stated)

    def _told(self, found: Minima, rows: Weighed) -> Timing:
        """Rows by count of turns."""
        _, which = np.unique(found.counted.counted_rad.round(6), axis=0, return_inverse=True)
        count = which.reshape(-1)[rows.minimum]
        weights = np.bincount(count, rows.weight)
        order = [k for k in np.argsort(-weights) if weights[k] >= _WORTH]
        told = tuple(_count(rows, count == k, found) for k in order)
        return Timing(self._fit(found, rows, count == order[0]), told, *longest_gaps_s(self.seen))

    def _fit(self, found: Minima, rows: Weighed, mine: np.ndarray) -> Fit:
        """Moments of the rows of the heaviest count; O-C of its best minimum."""
        share = rows.weight * mine / rows.weight[mine].sum()
        mean = share @ rows.x
        off = rows.x - mean
        covariance = np.einsum("r,rij->ij", share, rows.covariance) + np.einsum("r,ri,rj->ij", share, off, off)
        best = int(np.argmax(share))
        x, number = rows.x[best], rows.minimum[best]
        counted = replace(found.counted, counted_rad=found.counted.counted_rad[number])
        weighing = self.noise.at(1.0, rows.tau_s[best])
        normal = Normal.at(x[None], Counted(counted.seen, counted.counted_rad[None]), weighing, self.priors)
        return Fit(
            dict(zip(NAMES, map(float, mean), strict=True)),
            covariance,
            _mixture(rows, _change),
            _mixture(rows, lambda x, v: eccentricity_of(x, v, "after")),
            _mixture(
                rows, lambda y, v: (y[INDEX["apsidal_rate"]], np.sqrt(v[INDEX["apsidal_rate"], INDEX["apsidal_rate"]]))
            ),
            counted.late_s(x),
            counted.line_s(x),
            counted.before_s(x),
            counted.counted_rad,
            float(normal.cost[0]),
            len(self.seen.time_s) - int(np.sum(self.priors.precision == 0.0)),
            rows.mean_of(rows.scale),
            rows.mean_of(rows.tau_s),
            self._tried_drift(x, counted, rows, best),
            self._limit_s(x, counted, rows, best),
            self.stated,
            self._off(),
        )

    def _off(self) -> tuple[tuple[str, float], ...]:
        """Causes that were loosened; one without a name is `shapes, pole or surface`."""
        names = [*self.causes, *[""] * (len(self.loosened) - len(self.causes))]
        told = [(name or UNNAMED, float(f)) for name, f in zip(names, self.loosened, strict=True) if f > 1.0]
        return tuple(sorted(dict(sorted(told, key=lambda one: one[1])).items()))

    def _tried_drift(self, x: np.ndarray, counted: Counted, rows: Weighed, best: int) -> tuple[float, float]:
        """With a flat prior."""
        i = INDEX["drift"]
        free = replace(self.priors, precision=np.where(np.arange(len(NAMES)) == i, 0.0, self.priors.precision))
        weighing = self.noise.at(rows.scale[best], rows.tau_s[best])
        normal = Normal.at(x[None], Counted(counted.seen, counted.counted_rad[None]), weighing, free)
        size = self.priors.scale[i]
        return float(x[i] + normal.step[0, i] * size), float(size * np.sqrt(np.linalg.inv(normal.matrix[0])[i, i]))

    def _limit_s(self, x: np.ndarray, counted: Counted, rows: Weighed, best: int) -> float:
        """What the columns of the noise add to the sigma of the change, in quadrature."""
        one = Counted(counted.seen, counted.counted_rad[None])
        size, sigmas = self.priors.scale, []
        for noise in (self.noise, replace(self.noise, columns_s=self.noise.columns_s[:, :0])):
            normal = Normal.at(x[None], one, noise.at(rows.scale[best], rows.tau_s[best]), self.priors)
            sigmas.append(_change(x, np.linalg.inv(normal.matrix[0]) * np.outer(size, size))[1])
        return float(np.sqrt(max(sigmas[0] ** 2 - sigmas[1] ** 2, 0.0)))


def _count(rows: Weighed, mine: np.ndarray, found: Minima) -> Count:
    weight = rows.weight[mine].sum()
    change = _mixture(replace(rows, weight=rows.weight * mine / weight), _change)
    x = (rows.weight * mine / weight) @ rows.x
    before, after = (TURN / x[INDEX[f"rate_{side}"]] / HOUR_S for side in ("before", "after"))
    cost = float(found.cost[np.unique(rows.minimum[mine])].min())
    return Count(float(weight), float(before), float(after), change.mean, change.sigma, cost)


def _mixture(rows: Weighed, number) -> Mixture:
    """Of a number with its sigma at parameters and their covariance; parts of one minimum thinned."""
    pairs = np.array([number(x, v) for x, v in zip(rows.x, rows.covariance, strict=True)])
    whole = Mixture(rows.weight, pairs[:, 0], pairs[:, 1])
    there = rows.weight > 0.0
    parts = [there & (rows.minimum == m) for m in np.unique(rows.minimum[there])]
    return mixed([whole.chosen(part).thinned() for part in parts])


def _change(x: np.ndarray, v: np.ndarray) -> tuple[float, float]:
    """Period after minus period before, s, and its sigma."""
    sides = [INDEX["rate_before"], INDEX["rate_after"]]
    before, after = TURN / x[sides]
    slopes = np.array([1.0, -1.0]) * TURN / x[sides] ** 2
    return after - before, float(np.sqrt(slopes @ v[np.ix_(sides, sides)] @ slopes))


def _turning(x: np.ndarray, v: np.ndarray) -> tuple[float, float]:
    i = INDEX["apsidal_rate"]
    return x[i], float(np.sqrt(v[i, i]))


def eccentricity_of(x: np.ndarray, v: np.ndarray, side: str) -> tuple[float, float]:
    """Eccentricity on a side of t0, and its sigma."""
    where = [INDEX[f"h_{side}"], INDEX[f"k_{side}"]]
    e = float(np.hypot(*x[where]))
    slopes = x[where] / e if e > 0.0 else np.array([1.0, 0.0])
    return e, float(np.sqrt(slopes @ v[np.ix_(where, where)] @ slopes))
