"""What a fit of event times will be worth before any is measured: the linear covariance of the same fit.

The derivatives of every event's O-C with respect to the parameters of the orbit and to what the middles may have wrong
(columns of noise.py, whose coefficients are parameters of prior sigma 1 here: the same covariance), at a fit of exact
events.  A group of events with a common error has the information A^T C^-1 A of its own; that of several groups is the
sum of theirs and the priors', and the inverse of this is the covariance that the fit of their events will state.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .mid_times import Readings
from .middles import Middles
from .noise import Noise
from .orbit import Counted
from .terms import INDEX, NAMES, TURN, Foreknown, Priors

MOST_CONDITION = 1e13
"""Of an information that can be inverted to three digits."""


@dataclass(frozen=True)
class TimingDesign:
    """rows (n, p): derivatives of the O-C, s, per scale of each parameter (terms.Priors), those of the middles last;
    prior (p, p): information of the priors, slopes (p,): of the period change, s, both per scale.
    """

    rows: np.ndarray
    prior: np.ndarray
    slopes: np.ndarray

    @classmethod
    def of(
        cls,
        seen: Readings,
        counted_rad: np.ndarray,
        expected: Foreknown,
        values: dict[str, float],
        middles: Middles | None = None,
    ) -> TimingDesign:
        """At parameters by name, as a Fit has them."""
        x = np.array([values[name] for name in NAMES])
        priors = Priors.of(expected, float(np.abs(seen.time_s).max()))
        columns = Noise.of(np.ones(len(seen.time_s)), None, None if middles is None else middles.columns_s).columns_s
        prior, slopes = np.eye(len(NAMES) + columns.shape[1]), np.zeros(len(NAMES) + columns.shape[1])
        prior[: len(NAMES), : len(NAMES)] = priors.scaled
        for sign, side in ((1.0, "before"), (-1.0, "after")):
            i = INDEX[f"rate_{side}"]
            slopes[i] = sign * TURN / x[i] ** 2 * priors.scale[i]
        if middles is not None:
            seen = replace(seen, turned_s=middles.turned_s)
        return cls(
            np.hstack([Counted(seen, counted_rad).late_and_slopes(x)[1] * priors.scale, columns]),
            prior,
            slopes,
        )

    def information(self, sigma_s: float, tau_s: float, group: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Groups (g,) and the information (g, p, p) of each: of events with errors sigma_s of their own and tau_s of
        each group (n,)."""
        names, which = np.unique(group, return_inverse=True)
        parts = [self.rows[which == k] for k in range(len(names))]
        return names, np.array([_alike(sigma_s, len(part)).at(1.0, tau_s).gram(part) for part in parts])

    def change_sigmas_s(self, information: np.ndarray) -> np.ndarray:
        """(..) one sigma of the period change from information (.., p, p) of events; inf where they do not tell it."""
        orbit = _without_middles(information + self.prior)
        size = np.abs(np.linalg.eigvalsh(orbit))  # symmetric: half the time of an SVD
        told = size.max(axis=-1) < MOST_CONDITION * size.min(axis=-1)
        slopes = self.slopes[: len(NAMES)]
        safe = np.where(told[..., None, None], orbit, np.eye(len(slopes)))
        variance = np.linalg.solve(safe, np.broadcast_to(slopes[:, None], (*safe.shape[:-1], 1)))[..., 0]
        return np.where(told, np.sqrt(np.maximum(variance @ slopes, 0.0)), np.inf)


def _without_middles(whole: np.ndarray) -> np.ndarray:
    """(.., 9, 9) information of the orbit when all else is marginalised (Schur's complement)."""
    n = len(NAMES)
    if whole.shape[-1] == n:
        return whole
    across = whole[..., n:, :n]
    return whole[..., :n, :n] - np.swapaxes(across, -1, -2) @ np.linalg.solve(whole[..., n:, n:], across)


def _alike(sigma_s: float, count: int) -> Noise:
    """Of the events of one group."""
    return Noise.of(np.full(count, sigma_s), np.zeros(count), None)
