"""Draws of all unknowns, weighed with the exact likelihood: what was linear on the way is undone.

x by its weight, s by Student's t about the solution at x, weight = likelihood and prior over that proposal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .chord import Conditional
from .importance import RoughDraws, effective_number, k_hat, weights
from .likelihood import of_priors
from .scatter import NoiseGrid

_NU = 10.0
_BLOCK = 256


@dataclass(frozen=True)
class Weighted:
    """u (n, p) with ln weights (n,), and what is late in each (n, m)."""

    u: np.ndarray
    ln_weight: np.ndarray
    late: np.ndarray

    @property
    def weight(self) -> np.ndarray:
        """(n,) that sum to 1."""
        return weights(self.ln_weight)

    @property
    def effective(self) -> float:
        """How many independent draws they are worth."""
        return effective_number(self.ln_weight)

    @property
    def k_hat(self) -> float:
        """Of their weights."""
        return k_hat(self.ln_weight)


def exactly_weighed(conditional: Conditional, draws: RoughDraws, grid: NoiseGrid, count: int, seed: int) -> Weighted:
    """`count` draws with scale and common error of a night integrated out."""
    random = np.random.default_rng((seed, 1))
    j = draws.chosen(random, count)
    x = draws.x[j]
    _, s, _ = conditional.moved(x, draws.found[j])
    precision, size = conditional.precision(x), s.shape[1]
    score = random.standard_normal((count, size)) * np.sqrt(_NU / random.chisquare(_NU, count))[:, None]
    factor = np.linalg.cholesky(precision)
    s = s + np.linalg.solve(factor.transpose(0, 2, 1), score[..., None])[..., 0]
    ln_volume = -np.log(np.einsum("nii->ni", factor)).sum(axis=1)
    ln_proposal = -0.5 * (_NU + size) * np.log1p(np.sum(score**2, axis=1) / _NU) - ln_volume
    u = conditional.whole(x, s)
    late = np.concatenate([grid.best.late(u[a : a + _BLOCK]) for a in range(0, count, _BLOCK)])
    ln = grid.ln_likelihood(late) - 0.5 * of_priors(s, conditional.information) - ln_proposal - draws.ln[j]
    return Weighted(u, np.where(conditional.allowed(s), ln, -np.inf), late)
