"""What event times are fitted with: the parameters of the longitude, what is known of them before, and their scales."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..constants import HOUR_S

TURN = 2.0 * np.pi
NAMES = (
    "longitude",
    "rate_before",
    "rate_after",
    "h_after",
    "k_after",
    "apsidal_rate",
    "h_before",
    "k_before",
    "drift",
)
"""Of the parameters in their order; rad, rad/s, rad/s2: mean longitude at t0 with a circle before it, mean motions,
(h, k) = e (sin, cos) of the pericentre at t0, rate of the line of apsides, drift of the mean motion."""
INDEX = {name: i for i, name in enumerate(NAMES)}
ECCENTRICITY_SIGMA, ECCENTRICITY_BEFORE_SIGMA = 0.05, 0.003
"""One sigma of h and of k: what an impact makes, and what a relaxed orbit has."""
DRIFT_SIGMA_RAD_S2 = 1e-16
"""One sigma of n': the largest that was measured, on (88188), is of this size (Scheirich et al. 2021, Icarus 360,
114321, doi 10.1016/j.icarus.2021.114321, from memory)."""


@dataclass(frozen=True)
class Foreknown:
    """What is known before the fit: the period before t0, the rate of the line of apsides after it, +- sigma, the
    drift of the mean motion, +- sigma, and the ellipse after t0: h and k in parts of the relative change of the mean
    motion, which one impulse makes with them, and one sigma of what they differ by from that.
    """

    period_h: float
    apsidal_rad_s: float
    apsidal_sigma_rad_s: float
    drift_rad_s2: float = 0.0
    drift_sigma_rad_s2: float = DRIFT_SIGMA_RAD_S2
    eccentricity_sigma: float = ECCENTRICITY_SIGMA
    ellipse: tuple[float, float] = (0.0, 0.0)

    @property
    def rate_rad_s(self) -> float:
        """Mean motion before t0."""
        return TURN / (self.period_h * HOUR_S)


@dataclass(frozen=True)
class Priors:
    """Gaussian priors of the parameters, (9,) each: centre, precision 1/sigma^2 (0: flat), and the scale in which the
    fit counts a parameter: precision and scale multiply to numbers near 1, moving by a scale moves times by minutes.
    ties (t, 9): sums of parameters, less the same of the centre, that are 0 +- 1.
    """

    centre: np.ndarray
    precision: np.ndarray
    scale: np.ndarray
    ties: np.ndarray

    @classmethod
    def of(cls, expected: Foreknown, span_s: float) -> Priors:
        """For events within span_s of t0."""
        size = expected.eccentricity_sigma
        sigma = {"apsidal_rate": expected.apsidal_sigma_rad_s, "drift": expected.drift_sigma_rad_s2}
        sigma |= {"h_before": ECCENTRICITY_BEFORE_SIGMA, "k_before": ECCENTRICITY_BEFORE_SIGMA}
        scale = {"longitude": 1e-2, "rate_before": 1e-2 / span_s, "rate_after": 1e-2 / span_s} | sigma
        scale |= {"h_after": size, "k_after": size, "drift": 1e-2 / span_s**2}
        rate = expected.rate_rad_s
        centre = {"apsidal_rate": expected.apsidal_rad_s, "drift": expected.drift_rad_s2}
        centre |= {"rate_before": rate, "rate_after": rate}
        ties = np.zeros((2, len(NAMES)))
        for tie, name, share in zip(ties, ("h_after", "k_after"), expected.ellipse, strict=True):
            tie[INDEX[name]], tie[INDEX["rate_before"]], tie[INDEX["rate_after"]] = 1.0, share / rate, -share / rate
        return cls(
            np.array([centre.get(name, 0.0) for name in NAMES]),
            np.array([sigma[name] ** -2.0 if name in sigma else 0.0 for name in NAMES]),
            np.array([scale[name] for name in NAMES]),
            ties / size,
        )

    @property
    def scaled(self) -> np.ndarray:
        """(9, 9) precision of all in units of the scale."""
        ties = self.ties * self.scale
        return np.diag(self.precision * self.scale**2) + ties.T @ ties

    def untied(self, x: np.ndarray) -> np.ndarray:
        """(.., t) sigmas by which parameters differ from what ties them."""
        return (x - self.centre) @ self.ties.T

    def loosened(self, factor: float) -> Priors:
        """With ties that hold less by a factor."""
        return replace(self, ties=self.ties / factor)

    def away(self, x: np.ndarray) -> np.ndarray:
        """(.., 9) how far parameters lie from the centre, per scale."""
        return (x - self.centre) / self.scale
