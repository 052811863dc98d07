"""Periods before and after the impact from mid-times of mutual events (O-C): the fit and its covariance.

Mean longitude l on either side of t0: l(0) + n t + n' t^2/2.  The secondary's true longitude at an event, read off the
geometry (mid_times.py), is turned into a mean one by Kepler's equation of an ellipse whose apsides turn evenly:
eccentricity vector (h, k) = e (sin, cos) of the pericentre at t0.  2 pi/n is the mean *sidereal* period, that of
`estimates`.  The true longitude is continuous at t0, so both sides share it.

Always fitted: longitude at t0, n before, n after, and after it h and k (a velocity change makes an ellipse, and e =
0.03 moves mid-times by 6 minutes in 10 hours) with the apsidal rate.  These three have Gaussian priors, so that few
events give a wide answer and no wrong one: h and k of 0 +- ECCENTRICITY_SIGMA, the rate as expected.  An ellipse before
t0 (its apsides turn as those after) comes in where it lowers chi2 by more than ELLIPSE_CHI2, the drift n', the same on
both sides, by DRIFT_CHI2; the periods are then those at t0.
Where chi2 is improbably high (1 %), or no sigma is stated, all errors are scaled to the scatter.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..constants import HOUR_S
from ..errors import ArgumentError
from .mid_times import Readings
from .terms import TURN, Fit, Foreknown, Terms, mean_longitude

ECCENTRICITY_SIGMA = 0.1
MOST_ECCENTRIC = 0.6
"""Bound of h and of k."""
EVENTS_NEEDED = 3
ELLIPSE_CHI2 = 13.8
"""0.1 % of chi2 with two degrees of freedom: a relaxed orbit is circular, so an ellipse must be plain."""
DRIFT_CHI2 = 9.0
"""Three sigma."""
UNSTATED_SIGMA_S = 60.0
"""Where no sigma is stated; only the ratios count then."""


def fitted(
    seen: Readings, counted_rad: np.ndarray, sigma_s: np.ndarray | None, expected: Foreknown, loss: str = "linear"
) -> Fit:
    """The fit with the terms that the data ask for; turns are counted already.

    loss: `linear`, or `soft_l1`: 2 (sqrt(1 + z^2) - 1) instead of z^2, so that what lies off weighs little (errors then
    by Huber's formula).  InputError for fewer than EVENTS_NEEDED events on a side.
    """
    sides_of(seen)
    problem = _Problem(seen, counted_rad, sigma_s, expected, loss)
    best = problem.solved(Terms())
    for name, least in (("ellipse_before", ELLIPSE_CHI2), ("drift", DRIFT_CHI2)):
        more = replace(best.terms, **{name: True})
        if len(seen.time_s) > len(more.names):
            other = problem.solved(more, best.values)
            tried = other.of("drift")
            if best.chi2 - other.chi2 > least * other.factor**2:
                best = other
            best = replace(best, tried_drift_rad_s2=tried)
    return best


def sides_of(seen: Readings) -> np.ndarray:
    """(n,) which events come after t0; InputError where there are too few on a side."""
    after = seen.time_s >= 0.0
    for side, number in (("before", int(np.sum(~after))), ("after", int(np.sum(after)))):
        if number < EVENTS_NEEDED:
            raise ArgumentError(
                "events",
                f"{number} events {side} the impact are given, a period needs at least {EVENTS_NEEDED}; add some",
            )
    return after


def robust_factor(z: np.ndarray, parameters: int, degrees: int) -> float:
    """By how much the soft_l1 loss scales the sigmas of least squares with the same, unweakened jacobian.

    z: (n,) residuals in units of their sigma; degrees: of freedom.  Huber's H1 with psi = z/sqrt(1 + z^2), the slope of
    the loss: sqrt(sum psi^2 / degrees) / mean(psi') times 1 + (p/n) var(psi')/mean(psi')^2, which is 6 % at 4
    parameters and 20 points (Huber & Ronchetti 2009, Robust Statistics, 2nd ed., sec. 7.6, from memory).
    """
    psi, slope = z / np.sqrt(1.0 + z * z), (1.0 + z * z) ** -1.5
    few = 1.0 + parameters / len(z) * float(np.var(slope) / np.mean(slope) ** 2)
    return few * float(np.sqrt(np.sum(psi**2) / max(degrees, 1)) / np.mean(slope))


class _Problem:
    """One set of events; its residuals for any terms."""

    def __init__(self, seen: Readings, counted_rad, sigma_s, expected: Foreknown, loss: str):
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
            factor = robust_factor(z, len(x), degrees)
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
        turning = v["apsidal_rate"]
        own = (v.get("h_before", 0.0), v.get("k_before", 0.0))
        first = self._side(v, "before", start, own, turning)
        second = self._side(v, "after", start, (v["h_after"], v["k_after"]), turning)
        whole, line = (np.where(self.after, two, one) for one, two in zip(first, second, strict=True))
        return whole, line, first[0]

    def _side(self, v: dict[str, float], side: str, start: float, ellipse: tuple, turning: float):
        """(n,) O-C against an ellipse that goes on for ever, and against its mean motion."""
        time, rate = self.seen.time_s, v[f"rate_{side}"]
        mean = mean_longitude(start, *ellipse) + rate * time + 0.5 * v.get("drift", 0.0) * time**2
        place = mean_longitude(self.counted, ellipse[0], ellipse[1], turning * time)
        pace = rate - self.seen.slide_rad_s
        return (mean - place) / pace, (mean - self.counted) / pace

    def _guess(self, terms: Terms, begin: dict[str, float]) -> np.ndarray:
        early, late = ~self.after, self.after
        rate, start = np.polyfit(self.seen.time_s[early], self.counted[early], 1)
        time = self.seen.time_s[late]
        x = {name: 0.0 for name in terms.names} | {"longitude": start, "rate_before": rate}
        x["rate_after"] = time @ (self.counted[late] - start) / (time @ time)  # through the longitude at t0
        x |= {"h_after": 1e-3, "k_after": 1e-3, "apsidal_rate": self.expected.apsidal_rad_s}
        return np.array([(x | begin)[name] for name in terms.names])

    def _scales(self, terms: Terms) -> np.ndarray:
        span = float(np.abs(self.seen.time_s).max())
        sizes = {"longitude": 1e-2, "drift": 1e-2 / span**2}
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
        turning = names.index("apsidal_rate")

        def prior(x: np.ndarray) -> np.ndarray:
            return np.append(x[small] / ECCENTRICITY_SIGMA, (x[turning] - e.apsidal_rad_s) / e.apsidal_sigma_rad_s)

        return prior


def _slopes(rows, x: np.ndarray) -> np.ndarray:
    """Jacobian (m, p) by central differences; the parameters are scaled to 1e-2 or so over the span."""
    steps = 1e-4 * np.eye(len(x))
    return np.column_stack([(rows(x + step) - rows(x - step)) / 2e-4 for step in steps])


def late_s(seen: Readings, counted_rad: np.ndarray, expected: Foreknown, terms: Terms, x: np.ndarray) -> np.ndarray:
    """(n,) O-C, s, against the whole model with parameters x in the order of terms.names."""
    return _Problem(seen, counted_rad, None, expected, "linear").late(terms, x)[0]
