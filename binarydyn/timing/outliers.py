"""Event times of which some lie far off: errors of Student's t, and the Gaussian problem that says the same.

Minimum by reweighing: w = (NU + 1)/(NU + z^2), z the residual of a time's own error per its sigma (Lange, Little &
Taylor 1989, J. Am. Stat. Assoc. 84, 881, doi 10.1080/01621459.1989.10478852).  The covariance is not that of the
weights (85 % where 95 % are stated) but the sandwich: with psi = w z, times become z* = psi/mean(psi'), of the sigma
  f = K sqrt(sum psi^2/(n - p))/mean(psi'),  K = 1 + (p/n) var(psi')/mean(psi')^2
(Huber & Ronchetti 2009, Robust Statistics, 2nd ed., sec. 7.6, from memory), whose least squares have that minimum and
that covariance, so that all else of the fit goes on as with Gaussian errors.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .noise import FLOOR_S, Noise
from .orbit import Counted
from .starts import MOST_ECCENTRIC, SMALL, Minima, Normal
from .terms import Priors

NU = 4.0
"""Degrees of freedom (common practice)."""
FAR = 5.0
"""Sigmas from which a time is called an outlier."""
_ROUNDS = 40
_SETTLED = 1e-4


@dataclass(frozen=True)
class Winsorised:
    """Minima with, (b, n), what is added to their O-C; the noise of what is then left; ln of the likelihood (b,) less
    that which the Gaussian problem will give; scale: of the core on the stated sigmas;
    outliers: of the best minimum."""

    minima: Minima
    later_s: np.ndarray
    noise: Noise
    ln_prior: np.ndarray
    scale: float
    outliers: int


def winsorised(found: Minima, noise: Noise, priors: Priors, tau_s: float) -> Winsorised:
    """All minima with the scale of the first, which is the best."""
    first = _Settled.of(_one(found, 0), found.x[0], noise, priors, tau_s, None)
    settled = [first]
    settled += [
        _Settled.of(_one(found, i), found.x[i], noise, priors, tau_s, first.scale) for i in range(1, len(found.x))
    ]
    spread = first.factor
    sigma = np.sqrt(np.maximum(spread**2 * noise.own_variance(first.scale) - FLOOR_S**2, 1e-6))
    own = np.sqrt(noise.own_variance(first.scale))
    later = np.array([own * (one.pulled - one.z) for one in settled])
    ln = np.array(
        [
            -0.5 * (NU + 1.0) * np.sum(np.log1p(one.z**2 / NU)) + 0.5 * np.sum(one.pulled**2) / spread**2
            for one in settled
        ]
    )
    minima = Minima(np.array([one.x for one in settled]), found.counted, found.cost)
    far = int(np.sum(np.abs(first.z) > FAR))
    return Winsorised(minima, later, replace(noise, sigma_s=sigma), ln - ln[0], first.scale, far)


def spread_factor(z: np.ndarray, fitted: float) -> float:
    """f: by how much the sigma of least squares with the same slopes is that of the reweighed fit; z (n,): residuals
    per sigma, fitted: effective number of parameters."""
    psi, slope = influence(z)
    few = 1.0 + fitted / len(z) * float(np.var(slope) / np.mean(slope) ** 2)
    return few * float(np.sqrt(np.sum(psi**2) / max(len(z) - fitted, 1.0)) / np.mean(slope))


def influence(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Minus the slope of the log likelihood of Student's t, and its own slope."""
    return (NU + 1.0) * z / (NU + z**2), (NU + 1.0) * (NU - z**2) / (NU + z**2) ** 2


def _one(found: Minima, i: int) -> Counted:
    return replace(found.counted, counted_rad=found.counted.counted_rad[i])


@dataclass(frozen=True)
class _Settled:
    """One minimum x (9,); z (n,) residuals of the own errors per their sigma; pulled (n,): z*; f; scale of the core."""

    x: np.ndarray
    z: np.ndarray
    pulled: np.ndarray
    factor: float
    scale: float

    @classmethod
    def of(cls, counted: Counted, x, noise: Noise, priors: Priors, tau_s: float, scale: float | None) -> _Settled:
        """scale: None: that of the data."""
        s, weight, fixed = scale or 1.0, np.ones(len(noise.sigma_s)), scale is not None
        for k in range(_ROUNDS):
            weighing = noise.at(s, tau_s, weight)
            own = noise.own_variance(s)
            step = Normal.at(x[None], counted, weighing, priors).step[0] * priors.scale
            x = np.clip(x + step, *_edges(x))
            z = np.sqrt(own) / weight * weighing.applied(counted.late_s(x)[:, None])[:, 0]
            if not fixed:
                spread = 1.4826 * np.median(np.abs(z)) if k == 0 else np.sqrt(np.mean(weight * z**2))
                s = float(np.clip(s * spread, 1e-2, 1e2))
                z = z * np.sqrt(own / noise.own_variance(s))
            before, weight = weight, (NU + 1.0) / (NU + z**2)
            if np.abs(weight - before).max() < _SETTLED:
                break
        factor = spread_factor(z, _fitted(counted, x, noise.at(s, tau_s), noise.own_variance(s), priors))
        psi, slope = influence(z)
        return cls(x, z, psi / np.mean(slope), factor, s)


def _edges(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ellipses stay ellipses."""
    edge = np.full(len(x), np.inf)
    edge[SMALL] = MOST_ECCENTRIC
    return -edge, edge


def _fitted(counted: Counted, x: np.ndarray, weighing, own: np.ndarray, priors: Priors) -> float:
    """Effective number of parameters, nuisances included: n less the sum of what is left of each time's own error."""
    slopes = counted.late_and_slopes(x)[1] * priors.scale
    told = weighing.applied(slopes)
    matrix = slopes.T @ told + priors.scaled
    left = weighing.inverse - np.sum(weighing.groups**2, axis=0) - np.sum(weighing.columns**2, axis=1)
    left = left - np.einsum("ni,ij,nj->n", told, np.linalg.inv(matrix), told)
    return float(np.sum(1.0 - own * left))
