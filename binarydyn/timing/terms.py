"""What event times are fitted with: the terms of the longitude, an ellipse that turns, and the errors of a fit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..constants import HOUR_S

TURN = 2.0 * np.pi


@dataclass(frozen=True)
class Foreknown:
    """What is known before the fit: the period before t0, and the rate of the line of apsides after it, +- sigma."""

    period_h: float
    apsidal_rad_s: float
    apsidal_sigma_rad_s: float


@dataclass(frozen=True)
class Terms:
    """Which terms the longitude has beside those that it always has."""

    ellipse_before: bool = False
    drift: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Of the parameters in their order; rad, rad/s, rad/s2."""
        names = ["longitude", "rate_before", "rate_after", "h_after", "k_after", "apsidal_rate"]
        names += ["h_before", "k_before"] if self.ellipse_before else []
        return (*names, "drift") if self.drift else tuple(names)


@dataclass(frozen=True)
class Fit:
    """Parameters by name and their covariance (p, p).

    Per event (n,), s: residual_s, O-C against the whole model; line_s, the same without the ellipses' swing; before_s,
    O-C against what holds before t0.  chi2 with the stated sigmas (with `soft_l1` its weakened sum); factor: by which
    all errors were scaled.  counted_rad: longitudes with their turns.  tried_drift_rad_s2: the drift and its sigma that
    one more term gives, whether it is in the fit or not; None with too few events.
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
    tried_drift_rad_s2: tuple[float, float] | None = None

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
    def eccentricity_after(self) -> tuple[float, float]:
        """And its sigma."""
        h, k = self.values["h_after"], self.values["k_after"]
        e = math.hypot(h, k)
        return e, self.sigma(("h_after", h / e), ("k_after", k / e)) if e > 0.0 else 0.0

    @property
    def scatter_s(self) -> float:
        """Root mean square of the O-C against the model, for its degrees of freedom."""
        return float(np.sqrt(np.sum(self.residual_s**2) / max(self.degrees, 1)))


def mean_longitude(true_rad: Any, h: float, k: float, turned_rad: np.ndarray | float = 0.0) -> Any:
    """Mean longitude on an ellipse from the true one, with whole turns kept; e = |(h, k)| below 1.

    M - f = -2 atan(b sin f / (1 + b cos f)) - e sin E, b = e / (1 + sqrt(1 - e^2)).
    """
    e = math.hypot(h, k)
    f = true_rad - math.atan2(h, k) - turned_rad
    b = e / (1.0 + math.sqrt(1.0 - e * e))
    less = 2.0 * np.arctan2(b * np.sin(f), 1.0 + b * np.cos(f))
    return true_rad - less - e * np.sin(f - less)
