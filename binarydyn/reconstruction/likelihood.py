"""How well the motion with given unknowns explains what was measured: what is late, and how improbable that is.

Unknowns are u (p,), of the prior N(0, prior_sigma_u^2) each, flat where that is infinite; times (or magnitudes) err as
timing/noise.py says, with the columns of the model's own causes.  What nights have in common and the scale of the
sigmas go over the grid of timing/evidence.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from ..timing.noise import Noise, Weighing
from .unknowns import Unknowns

LEAST_SHOWN = 0.9
"""Of what was measured that a motion must show: with less it is another one."""
NOT_SHOWN = 3.0
"""Sigmas by which a measured event is taken to be off that the motion does not show."""


class Foretold(Protocol):
    """What a motion foretells of m measured numbers."""

    @property
    def unknowns(self) -> Unknowns:
        """Of which it is a function."""

    @property
    def observed(self) -> np.ndarray:
        """(m,) what was measured."""

    def predicted(self, u: np.ndarray) -> np.ndarray:
        """(n, m) at u (n, p); nan rows for motions that end early or are refused."""


@dataclass(frozen=True)
class Likelihood:
    """A model, the noise, at one scale and common error of a night; later (m,): what is added to what was measured."""

    model: Foretold
    noise: Noise
    scale: float = 1.0
    tau_s: float = 0.0
    later: np.ndarray | float = 0.0

    @property
    def weighing(self) -> Weighing:
        """C^-1."""
        return self.noise.at(self.scale, self.tau_s)

    @property
    def information(self) -> np.ndarray:
        """(p,) of the priors of u: 0 where flat."""
        return self.model.unknowns.prior_sigma_u**-2.0

    def late(self, u: np.ndarray) -> np.ndarray:
        """(n, m) measured less modelled; nan rows for what is no motion that shows it."""
        late = self.model.observed + self.later - self.model.predicted(u)
        there = np.isfinite(late)
        off = NOT_SHOWN * np.sqrt(self.noise.own_variance(self.scale))
        late = np.where(there, late, off)
        late[there.mean(axis=1) < LEAST_SHOWN] = np.nan
        return late

    def within(self, near: np.ndarray) -> Likelihood:
        """Of some of the data alone: the others are taken to say nothing."""
        sigma = np.where(near, self.noise.sigma_s, 1e3 * self.noise.sigma_s.max() + 1e7)
        return replace(self, noise=replace(self.noise, sigma_s=sigma))


def quadratic(weighing: Weighing, late: np.ndarray) -> np.ndarray:
    """(n,) r^T C^-1 r of rows r (n, m); inf of rows with nan."""
    there = np.isfinite(late).all(axis=1)
    out = np.full(len(late), np.inf)
    some = late[there]
    out[there] = np.sum(some * weighing.applied(some.T).T, axis=1)
    return out


def of_priors(u: np.ndarray, information: np.ndarray) -> np.ndarray:
    """(n,) sum of (u/sigma)^2 of u (n, p)."""
    return np.sum(u**2 * information, axis=1)
