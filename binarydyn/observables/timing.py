"""Periods before and after the impact from middles of mutual events (O-C): the fit and its covariance.

Mean longitude l on either side of t0: l(0) + n t + n' t^2/2.  The moonlet's true longitude at an event, read off the
geometry (mid_times.py), is turned into a mean one by Kepler's equation of an ellipse whose apsides turn evenly:
eccentricity vector (h, k) = e (sin, cos) of the pericentre at t0.  2 pi/n is the mean *sidereal* period, that of
`estimates`.  The true longitude is continuous at t0, so both sides share it.

Fitted: longitude at t0, n before, n after, and after it h and k (a push makes an ellipse, and e = 0.03 moves middles by
6 minutes in 10 hours) with the apsidal rate; these have Gaussian priors: e of 0 +- ECCENTRICITY_SIGMA each, the rate as
expected.  With fewer than ELLIPSE_EVENTS after t0 the orbit there counts as a circle with a phase of its own.  An
ellipse before t0, and the drift n', come in where they lower chi2 by more than ELLIPSE_CHI2 and DRIFT_CHI2.
Where chi2 is improbably high (1 %), or no sigma is stated, all errors are scaled to the scatter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..constants import HOUR_S
from ..errors import InputError
from .mid_times import Readings

TURN = 2.0 * np.pi
ECCENTRICITY_SIGMA = 0.1
MOST_ECCENTRIC = 0.6
"""Bound of h and of k."""
ELLIPSE_EVENTS = 5
EVENTS_NEEDED = 3
ELLIPSE_CHI2 = 13.8
"""0.1 % of chi2 with two degrees of freedom: a relaxed orbit is circular, so an ellipse must be plain."""
DRIFT_CHI2 = 9.0
"""Three sigma."""
UNSTATED_SIGMA_S = 60.0
"""Where no sigma is stated; only the ratios count then."""
LOSSES = ("linear", "soft_l1")


@dataclass(frozen=True)
class Expected:
    """What is known before the fit: the period before t0, and the rate of the line of apsides after it, +- sigma."""

    period_h: float
    apsidal_rad_s: float
    apsidal_sigma_rad_s: float


@dataclass(frozen=True)
class Terms:
    """Which terms the longitude has."""

    ellipse_before: bool = False
    ellipse_after: bool = True
    drift: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Of the parameters in their order; rad, rad/s, rad/s2."""
        names = ["longitude", "rate_before", "rate_after"]
        names += ["h_before", "k_before"] if self.ellipse_before else []
        names += ["h_after", "k_after", "apsidal_rate"] if self.ellipse_after else ["phase_step"]
        return (*names, "drift") if self.drift else tuple(names)


@dataclass(frozen=True)
class Fit:
    """Parameters by name and their covariance (p, p).

    Per event (n,), s: residual_s, O-C against the whole model; line_s, the same without the ellipses' swing; before_s,
    O-C against what holds before t0.  chi2 with the stated sigmas (with `soft_l1` its weakened sum); factor: by which
    all errors were scaled.  counted_rad: longitudes with their turns.
    """

    terms: Terms
    values: dict[str, float]
    covariance: np.ndarray
    residual_s: np.ndarray
    line_s: np.ndarray
    before_s: np.ndarray
    counted_rad: np.ndarray
    chi2: float
    degrees: int
    factor: float

    def sigma(self, *gradient: tuple[str, float]) -> float:
        """One sigma of a quantity with these derivatives with respect to parameters."""
        g = np.zeros(len(self.terms.names))
        for name, slope in gradient:
            g[self.terms.names.index(name)] += slope
        return float(np.sqrt(g @ self.covariance @ g))

    def period_h(self, side: str) -> float:
        """Mean sidereal period, `before` or `after`; with a drift that at t0."""
        return TURN / self.values[f"rate_{side}"] / HOUR_S

    def period_sigma_s(self, side: str) -> float:
        """Of the same."""
        return self.sigma((f"rate_{side}", self._slope(side)))

    def _slope(self, side: str) -> float:
        return -TURN / self.values[f"rate_{side}"] ** 2

    @property
    def change_s(self) -> float:
        """Period after minus period before."""
        return (self.period_h("after") - self.period_h("before")) * HOUR_S

    @property
    def change_sigma_s(self) -> float:
        """Of the same, with the correlation of the two periods."""
        return self.sigma(("rate_after", self._slope("after")), ("rate_before", -self._slope("before")))

    def of(self, name: str) -> tuple[float, float] | None:
        """A parameter and its sigma; None where it is not fitted."""
        return (self.values[name], self.sigma((name, 1.0))) if name in self.values else None

    @property
    def eccentricity_after(self) -> tuple[float, float] | None:
        """And its sigma."""
        if not self.terms.ellipse_after:
            return None
        h, k = self.values["h_after"], self.values["k_after"]
        e = math.hypot(h, k)
        return e, self.sigma(("h_after", h / e), ("k_after", k / e)) if e > 0.0 else 0.0

    @property
    def scatter_s(self) -> float:
        """Root mean square of the O-C against the model, for its degrees of freedom."""
        return float(np.sqrt(np.sum(self.residual_s**2) / max(self.degrees, 1)))


def mean_longitude(true_rad: np.ndarray, h: float, k: float, turned_rad: np.ndarray | float = 0.0) -> np.ndarray:
    """Mean longitude on an ellipse from the true one, with whole turns kept; e = |(h, k)| below 1.

    M - f = -2 atan(b sin f / (1 + b cos f)) - e sin E, b = e / (1 + sqrt(1 - e^2)).
    """
    e = math.hypot(h, k)
    f = true_rad - math.atan2(h, k) - turned_rad
    b = e / (1.0 + math.sqrt(1.0 - e * e))
    less = 2.0 * np.arctan2(b * np.sin(f), 1.0 + b * np.cos(f))
    return true_rad - less - e * np.sin(f - less)


def fitted(
    seen: Readings, counted_rad: np.ndarray, sigma_s: np.ndarray | None, expected: Expected, loss: str = "linear"
) -> Fit:
    """The fit with the terms that the data ask for; turns are counted already.

    loss: `linear`, or `soft_l1`: 2 (sqrt(1 + z^2) - 1) instead of z^2, so that what lies off weighs little (errors then
    by Huber's formula).  InputError for fewer than EVENTS_NEEDED events on a side.
    """
    after = check_count(seen)
    problem = _Problem(seen, counted_rad, sigma_s, expected, loss)
    best = problem.solved(Terms(ellipse_after=bool(np.sum(after) >= ELLIPSE_EVENTS)))
    for name, least in (("ellipse_before", ELLIPSE_CHI2), ("drift", DRIFT_CHI2)):
        more = replace(best.terms, **{name: True})
        if len(seen.time_s) > len(more.names):
            other = problem.solved(more, best.values)
            if best.chi2 - other.chi2 > least * other.factor**2:
                best = other
    return best


def check_count(seen: Readings) -> np.ndarray:
    """(n,) which events come after t0; InputError where there are too few on a side."""
    after = seen.time_s >= 0.0
    for side, number in (("before", int(np.sum(~after))), ("after", int(np.sum(after)))):
        if number < EVENTS_NEEDED:
            raise InputError(
                "--events",
                f"{number} events {side} the impact are given, a period needs at least {EVENTS_NEEDED}; add some",
            )
    return after


class _Problem:
    """One set of events; its residuals for any terms."""

    def __init__(self, seen: Readings, counted_rad, sigma_s, expected: Expected, loss: str):
        self.seen, self.counted, self.expected, self.loss = seen, counted_rad, expected, loss
        self.stated = sigma_s is not None
        self.sigma = sigma_s if self.stated else np.full(len(counted_rad), UNSTATED_SIGMA_S)
        self.after = seen.time_s >= 0.0
        self.rate = TURN / (expected.period_h * HOUR_S)

    def solved(self, terms: Terms, begin: dict[str, float] | None = None) -> Fit:
        """Least squares from straight lines and a circle, or from what fewer terms gave."""
        from scipy.optimize import least_squares
        from scipy.special import chdtri

        scale = self._scales(terms)
        count, prior = len(self.counted), self._priors(terms)

        def rows(y: np.ndarray) -> np.ndarray:
            return np.concatenate([self.late(terms, y * scale)[0] / self.sigma, prior(y * scale)])

        found = least_squares(
            rows,
            self._guess(terms, begin or {}) / scale,
            bounds=self._bounds(terms, scale),
            loss=self.loss,
            method="trf",
            x_scale="jac",
            xtol=1e-12,
            ftol=1e-12,
            gtol=1e-12,
        )
        x = found.x * scale
        residual, line, before = self.late(terms, x)
        z = residual / self.sigma
        degrees = count - len(x) + len(prior(x))
        chi2 = 2.0 * found.cost
        # least_squares weakens its rows by the loss, so the jacobian is taken again, unweakened
        jacobian = _slopes(rows, found.x)
        inverse = np.linalg.inv(jacobian.T @ jacobian)
        factor = math.sqrt(chi2 / max(degrees, 1))
        if self.loss != "linear":
            # Huber & Ronchetti 2009, Robust Statistics, 2nd ed., sec. 7.6 (from memory): psi and psi' of the loss
            psi, slope = z / np.sqrt(1.0 + z * z), (1.0 + z * z) ** -1.5
            factor = float(np.sqrt(np.sum(psi**2) / max(degrees, 1)) / np.mean(slope))
        elif self.stated and chi2 <= chdtri(max(degrees, 1), 0.01):
            factor = 1.0
        return Fit(
            terms,
            dict(zip(terms.names, map(float, x), strict=True)),
            inverse * np.outer(scale, scale) * factor**2,
            residual,
            line,
            before,
            self.counted,
            float(chi2),
            degrees,
            factor,
        )

    def late(self, terms: Terms, x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(n,) O-C, s: against the whole model, without the swing of the ellipses, against what holds before t0."""
        v = dict(zip(terms.names, x, strict=True))
        start = v["longitude"]
        own = (v.get("h_before", 0.0), v.get("k_before", 0.0))
        first = self._side(v, "before", start, own, self.expected.apsidal_rad_s)
        new = (v.get("h_after", 0.0), v.get("k_after", 0.0))
        second = self._side(v, "after", start + v.get("phase_step", 0.0), new, v.get("apsidal_rate", 0.0))
        whole, line = (np.where(self.after, two, one) for one, two in zip(first, second, strict=True))
        return whole, line, first[0]

    def _side(self, v: dict[str, float], side: str, start: float, ellipse: tuple, turning: float):
        """(n,) O-C against an ellipse that goes on for ever, and against its mean motion."""
        time, rate = self.seen.time_s, v[f"rate_{side}"]
        mean = mean_longitude(start, *ellipse) + rate * time + 0.5 * v.get("drift", 0.0) * time**2
        place = mean_longitude(self.counted, *ellipse, turning * time)
        pace = rate - self.seen.slide_rad_s
        return (mean - place) / pace, (mean - self.counted) / pace

    def _guess(self, terms: Terms, begin: dict[str, float]) -> np.ndarray:
        x = np.zeros(len(terms.names))
        lines = [np.polyfit(self.seen.time_s[s], self.counted[s], 1) for s in (~self.after, self.after)]
        x[:3] = lines[0][1], lines[0][0], lines[1][0]
        if terms.ellipse_after:
            x[terms.names.index("apsidal_rate")] = self.expected.apsidal_rad_s
            x[terms.names.index("h_after")] = x[terms.names.index("k_after")] = 1e-3
        return np.array([begin.get(name, value) for name, value in zip(terms.names, x, strict=True)])

    def _scales(self, terms: Terms) -> np.ndarray:
        span = float(np.abs(self.seen.time_s).max())
        sizes = {"longitude": 1e-2, "phase_step": 1e-2, "drift": 1e-2 / span**2}
        sizes |= {name: 1e-2 / span for name in ("rate_before", "rate_after")}
        sizes |= {f"{c}_{side}": 1e-2 for c in "hk" for side in ("before", "after")}
        sizes["apsidal_rate"] = self.expected.apsidal_sigma_rad_s
        return np.array([sizes[name] for name in terms.names])

    def _bounds(self, terms: Terms, scale: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """An ellipse stays one while the search goes on."""
        edge = np.array([MOST_ECCENTRIC if name[:2] in ("h_", "k_") else np.inf for name in terms.names]) / scale
        return -edge, edge

    def _priors(self, terms: Terms):
        """What the priors add to the residuals."""
        names, e = terms.names, self.expected
        small = [i for i, name in enumerate(names) if name[:2] in ("h_", "k_")]
        turning = [i for i, name in enumerate(names) if name == "apsidal_rate"]

        def prior(x: np.ndarray) -> np.ndarray:
            return np.concatenate(
                [x[small] / ECCENTRICITY_SIGMA, (x[turning] - e.apsidal_rad_s) / e.apsidal_sigma_rad_s]
            )

        return prior


def _slopes(rows, x: np.ndarray) -> np.ndarray:
    """Jacobian (m, p) by central differences; the parameters are scaled to 1e-2 or so over the span."""
    steps = 1e-4 * np.eye(len(x))
    return np.column_stack([(rows(x + step) - rows(x - step)) / 2e-4 for step in steps])
