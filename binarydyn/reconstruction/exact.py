"""Draws of all unknowns, weighed with the exact likelihood: what was linear on the way is undone.

x by its weight, s by Student's t about the solution at x, weight = likelihood and prior over that proposal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from .chord import Conditional, Moved
from .importance import RoughDraws, effective_number, k_hat, weights
from .likelihood import Likelihood, of_priors
from .scatter import NoiseGrid

_NU = 10.0
_GOOD = 0.5
"""Share of the draws that count, from which on slopes that are quadratic in x serve."""
_ENOUGH, _MOST = 150.0, 4
"""Effective draws, and sets of draws that are made for them at most."""
_BLOCK = 256


@dataclass(frozen=True)
class Weighted:
    """u (n, p) with ln weights (n,), what is late in each (n, m), and which (n,) were left out for their motion."""

    u: np.ndarray
    ln_weight: np.ndarray
    late: np.ndarray
    left_out: np.ndarray

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


@dataclass(frozen=True)
class ExactWeights:
    """How draws are weighed: scale and common error of a night integrated out over the grid; unfit: which of guesses
    u (n, p) are left out, (n,), or None."""

    grid: NoiseGrid
    unfit: Callable[[np.ndarray], np.ndarray] | None = None

    def chosen(self, conditional: Conditional, draws: RoughDraws, count: int, random: np.random.Generator) -> Weighted:
        """Draws of x by weight, with Student's t about the solutions s, by a node of the noise each."""
        j = draws.chosen(random, count)
        x = draws.x[j]
        found = conditional.moved(x, draws.found[j])
        node = np.sum(np.cumsum(found.share, axis=0) < random.random(count), axis=0)
        node = np.minimum(node, len(found.ln) - 1), np.arange(count)
        size = found.s.shape[2]
        score = random.standard_normal((count, size)) * np.sqrt(_NU / random.chisquare(_NU, count))[:, None]
        factor = np.linalg.cholesky(found.precision)
        s = found.s[node] + np.linalg.solve(factor[node].transpose(0, 2, 1), score[..., None])[..., 0]
        ln_proposal = _ln_student(s, found, factor) + draws.ln[j]
        u = conditional.whole(x, s)
        late = _late(self.grid.best, u)
        ln = self.grid.ln_likelihood(late) - 0.5 * of_priors(s, conditional.information) - ln_proposal
        out = np.zeros(count, dtype=bool) if self.unfit is None else self.unfit(u)
        return Weighted(u, np.where(conditional.allowed(s) & ~out, ln, -np.inf), late, out)


def _ln_student(s: np.ndarray, found: Moved, factor: np.ndarray) -> np.ndarray:
    """(n,) ln of the density, up to a constant, of s (n, k) by all nodes in their shares; factor (j, n, k, k)."""
    away = np.einsum("jnab,jna->jnb", factor, s - found.s)
    ln = -0.5 * (_NU + s.shape[1]) * np.log1p(np.sum(away**2, axis=2) / _NU)
    ln += np.log(np.einsum("jnaa->jna", factor)).sum(axis=2)
    top = ln.max(axis=0)
    return top + np.log(np.sum(found.share * np.exp(ln - top), axis=0))


def exactly_weighed(
    conditional: Conditional, draws: RoughDraws, weigher: ExactWeights, count: int, seed: int
) -> Weighted:
    """`count` draws.  Where fewer than half of them count, again with slopes from places among them; and where still
    few do, up to _MOST times as many."""
    random = np.random.default_rng((seed, 1))
    parts = [weigher.chosen(conditional, draws, count, random)]
    if parts[0].effective < _GOOD * count:
        j = random.permutation(draws.chosen(random, len(draws.x)))
        near = conditional.nearer(draws.x[j], draws.found[j])
        again = weigher.chosen(near, draws, count, random)
        if again.effective > parts[0].effective:
            conditional, parts = near, [again]
    while (whole := _joined(parts)).effective < _ENOUGH and len(parts) < _MOST:
        parts.append(weigher.chosen(conditional, draws, count, random))
    return whole


def _joined(parts: list[Weighted]) -> Weighted:
    columns = ([getattr(part, field.name) for part in parts] for field in fields(Weighted))
    return Weighted(*(np.concatenate(column) for column in columns))


def _late(likelihood: Likelihood, u: np.ndarray) -> np.ndarray:
    return np.concatenate([likelihood.late(u[a : a + _BLOCK]) for a in range(0, len(u), _BLOCK)])
