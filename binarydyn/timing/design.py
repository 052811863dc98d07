"""What a fit of event times will be worth before any is measured: the linear covariance of the same fit.

The derivatives of every event's O-C with respect to the parameters of fit.py, at a fit of exact events; the
information of some events is the sum over them of (dO-C/dp)(dO-C/dp)^T / sigma^2, with that of the priors of the
ellipse, and its inverse is the covariance that the fit of these events will state.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .fit import ECCENTRICITY_SIGMA, late_s
from .mid_times import Readings
from .terms import TURN, Foreknown, Terms

MOST_CONDITION = 1e13
"""Of an information that can be inverted to three digits."""


@dataclass(frozen=True)
class TimingDesign:
    """rows (n, p): derivatives of the O-C, s, per `scale` of each parameter; prior (p,): information of the priors,
    away (p,): how far the parameters lie from their centres, both per scale; slopes (p,): of the period change, s.
    """

    terms: Terms
    rows: np.ndarray
    prior: np.ndarray
    scale: np.ndarray
    slopes: np.ndarray
    away: np.ndarray

    @classmethod
    def of(
        cls, seen: Readings, counted_rad: np.ndarray, expected: Foreknown, terms: Terms, values: dict[str, float]
    ) -> TimingDesign:
        """At parameters by name, as a Fit has them."""
        x = np.array([values[name] for name in terms.names])
        scale = _scales(terms, float(np.abs(seen.time_s).max()))
        steps = 1e-3 * np.diag(scale)
        rows = [
            (late_s(seen, counted_rad, expected, terms, x + h) - late_s(seen, counted_rad, expected, terms, x - h))
            / 2e-3
            for h in steps
        ]
        prior, slopes, centre = np.zeros(len(x)), np.zeros(len(x)), np.zeros(len(x))
        for i, name in enumerate(terms.names):
            if name[:2] in ("h_", "k_"):
                prior[i] = 1.0 / ECCENTRICITY_SIGMA**2
            elif name == "apsidal_rate":
                prior[i], centre[i] = 1.0 / expected.apsidal_sigma_rad_s**2, expected.apsidal_rad_s
            elif name in ("rate_before", "rate_after"):
                slopes[i] = (-1.0 if name == "rate_after" else 1.0) * TURN / values[name] ** 2
        return cls(terms, np.column_stack(rows), prior * scale**2, scale, slopes, (x - centre) / scale)

    def information(self, sigma_s: float) -> np.ndarray:
        """(n, p, p) of each event, in parameters per scale; that of several is the sum of theirs and the priors'."""
        return self.rows[:, :, None] * self.rows[:, None, :] / sigma_s**2

    def change_sigmas_s(self, information: np.ndarray) -> np.ndarray:
        """(..) one sigma of the period change from information (.., p, p) of events; inf where they do not tell it."""
        whole = information + np.diag(self.prior)
        told = np.linalg.cond(whole) < MOST_CONDITION
        slope = self.slopes * self.scale
        safe = np.where(told[..., None, None], whole, np.eye(len(slope)))
        variance = np.linalg.solve(safe, np.broadcast_to(slope[:, None], (*safe.shape[:-1], 1)))[..., 0] @ slope
        return np.where(told, np.sqrt(np.maximum(variance, 0.0)), np.inf)

    def pulls_s(self, information: np.ndarray, late_s: np.ndarray, sigma_s: float, chosen: np.ndarray) -> np.ndarray:
        """(k,) by how much the fit of some events, of information (k, p, p), moves the period change away from that at
        which the design was taken: towards events that are late_s (n,) against it, chosen (k, n), and to the priors.
        """
        slope = self.slopes * self.scale
        force = -(chosen * (late_s / sigma_s**2)) @ self.rows - self.prior * self.away
        return np.linalg.solve(information + np.diag(self.prior), force[..., None])[..., 0] @ slope


def _scales(terms: Terms, span_s: float) -> np.ndarray:
    """By which an O-C changes by minutes."""
    sizes = {"rate_before": 1e-2 / span_s, "rate_after": 1e-2 / span_s, "drift": 1e-2 / span_s**2}
    sizes["apsidal_rate"] = 0.1 / span_s
    return np.array([sizes.get(name, 1e-2) for name in terms.names])
