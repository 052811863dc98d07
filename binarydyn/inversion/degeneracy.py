"""What data leave open: combinations of unknowns that they hardly decide, the profile along one of them, and what
another measurement would add.

All but the profile is linear, about a solution: with slopes A, noise C and priors P the posterior covariance of the
unknowns is (A^T C^-1 A + P)^-1, and one more number of slope a and sigma s takes K a a^T K / (s^2 + a^T K a) off it
(Sherman & Morrison; any handbook of linear algebra).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import ConvergenceError
from ..reconstruction.likelihood import Foretold, Likelihood
from ..reconstruction.newton import Solved, solved
from ..reconstruction.unknowns import Unknowns

PROFILE = (-2.0, -1.0, 1.0, 2.0)
"""Where a profile is taken, in sigmas of the posterior along the direction."""
_SHOWN, _LEAST = 4, 0.2
"""Components of a direction that are told, and the least of them."""
_PINNED, _ONE_S = 1e-3, 1e3
"""Sigmas of the posterior to which a profile holds its unknowns, and the error that stands for it among the data: much
above what timing/noise.py adds to each."""


@dataclass(frozen=True)
class OpenDirection:
    """A combination of unknowns that have priors, each in units of its prior's sigma.

    vector (p,): t = vector @ u is 1 where it is one prior sigma off; zero for unknowns without a prior.  sd: of the
    posterior along it, 1 where the data say nothing of it.  parts: its larger components, by name.  moves: by how much
    each unknown without a prior goes with t, per prior sigma, in its unit.
    """

    vector: np.ndarray
    sd: float
    parts: dict[str, float]
    moves: dict[str, float]


@dataclass(frozen=True)
class Gain:
    """What one more number would bring.  sigma: its own; known_to: the sigma with which the rest foretells it; left:
    share of the sd that stays of each direction; helped, helped_left: the unknown that gains most, and what stays of
    its sigma."""

    name: str
    sigma: float
    known_to: float
    left: tuple[float, ...]
    helped: str
    helped_left: float


def open_directions(unknowns: Unknowns, covariance: np.ndarray, most: int = 3) -> tuple[OpenDirection, ...]:
    """Of a posterior covariance (p, p) of u, the least decided first; eigenvectors in units of the priors' sigmas."""
    sigma = unknowns.prior_sigma_u
    known = np.flatnonzero(np.isfinite(sigma))
    variance, vectors = np.linalg.eigh(covariance[np.ix_(known, known)] / np.outer(sigma[known], sigma[known]))
    return tuple(
        _direction(unknowns, covariance, known, vectors[:, k]) for k in np.argsort(-variance)[: min(most, len(known))]
    )


def _direction(unknowns: Unknowns, covariance: np.ndarray, known: np.ndarray, vector: np.ndarray) -> OpenDirection:
    vector = vector * np.sign(vector[np.argmax(np.abs(vector))])
    whole = np.zeros(len(covariance))
    whole[known] = vector / unknowns.prior_sigma_u[known]
    along = covariance @ whole
    variance = float(whole @ along)
    large = [k for k in np.argsort(-np.abs(vector))[:_SHOWN] if abs(vector[k]) > _LEAST]
    parts = {unknowns.names[known[k]]: float(vector[k]) for k in large}
    free = np.flatnonzero(~np.isfinite(unknowns.prior_sigma_u))
    moves = {unknowns.names[i]: float(unknowns.scale[i] * along[i] / variance) for i in free}
    return OpenDirection(whole, float(np.sqrt(variance)), parts, moves)


@dataclass(frozen=True)
class PinnedModel:
    """A model with one more datum: t = vector @ u, held to `held` of its unit."""

    model: Foretold
    vector: np.ndarray
    at: float
    held: float

    @property
    def unknowns(self) -> Unknowns:
        """Those of the model."""
        return self.model.unknowns

    @property
    def observed(self) -> np.ndarray:
        """(m + 1,)."""
        return np.append(self.model.observed, self.at * _ONE_S / self.held)

    def predicted(self, u: np.ndarray) -> np.ndarray:
        """(n, m + 1)."""
        return np.column_stack([self.model.predicted(u), u @ self.vector * _ONE_S / self.held])


def profile(likelihood: Likelihood, reference: Solved, direction: OpenDirection) -> tuple[tuple[float, float], ...]:
    """(t, rise of the cost) along a direction, all else solved anew: at PROFILE sigmas from the reference, t in prior
    sigmas from the priors' middle; nan where there is no motion.  Were all linear, the rise would be the square of the
    sigmas.  The pin itself weighs nothing."""
    middle, noise = float(direction.vector @ reference.u), likelihood.noise
    more = replace(
        noise, sigma_s=np.append(noise.sigma_s, _ONE_S / max(likelihood.scale, 1e-9)),
        members=np.pad(noise.members, ((0, 0), (0, 1))), columns_s=np.pad(noise.columns_s, ((0, 1), (0, 0))),
        causes_s=np.pad(noise.causes_s, ((0, 1), (0, 0))),
    )  # fmt: skip
    later = np.append(np.broadcast_to(likelihood.later, len(noise.sigma_s)), 0.0)
    lean = reference.covariance(likelihood) @ direction.vector / direction.sd**2
    found = []
    for z in PROFILE:
        t = middle + z * direction.sd
        model = PinnedModel(likelihood.model, direction.vector, t, _PINNED * direction.sd)
        held = replace(likelihood, model=model, noise=more, later=later)
        try:
            rise = solved(held, reference.u + lean * (t - middle)).cost - reference.cost
        except (ConvergenceError, np.linalg.LinAlgError):
            rise = np.nan
        found.append((t, float(rise)))
    return tuple(found)


def gains(
    unknowns: Unknowns, covariance: np.ndarray, slopes: Mapping[str, np.ndarray], sigmas: Mapping[str, float],
    directions: Sequence[OpenDirection],
) -> tuple[Gain, ...]:  # fmt: skip
    """What each number of a sigma would add to a covariance (p, p); slopes (p,) per u by name, those with nan are left
    out; the one that decides most comes first."""
    found = [
        _gain(unknowns, covariance, name, slopes[name], sigma, directions)
        for name, sigma in sigmas.items()
        if np.isfinite(slopes[name]).all()
    ]
    return tuple(sorted(found, key=lambda gain: min((*gain.left, gain.helped_left))))


def _gain(unknowns, covariance, name, slope, sigma, directions) -> Gain:
    told = covariance @ slope
    known_to = float(np.sqrt(slope @ told))
    after = covariance - np.outer(told, told) / (sigma**2 + known_to**2)
    left = tuple(float(np.sqrt(one.vector @ after @ one.vector)) / one.sd for one in directions)
    each = np.sqrt(np.maximum(np.diag(after), 0.0) / np.diag(covariance))
    k = int(np.argmin(each))
    return Gain(name, sigma, known_to, left, unknowns.names[k], float(each[k]))
