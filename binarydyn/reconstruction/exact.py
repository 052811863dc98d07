"""Draws of all unknowns, weighed with the exact likelihood: what was linear on the way is undone.

x by its weight, s by Student's t about the solution at x, weight = likelihood and prior over that proposal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .chord import Conditional
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
    """`count` draws with scale and common error of a night integrated out.

    Where fewer than half of them count, again with slopes of each draw's own in those unknowns whose slopes change; and
    where still few do, up to _MOST times as many.
    """
    random = np.random.default_rng((seed, 1))
    parts = [_chosen(conditional, draws, grid, count, random, False)]
    own = parts[0].effective < _GOOD * count
    if own:
        again = _chosen(conditional, draws, grid, count, random, True)
        own = again.effective > parts[0].effective
        parts = [again] if own else parts
    while (whole := _joined(parts)).effective < _ENOUGH and len(parts) < _MOST:
        parts.append(_chosen(conditional, draws, grid, count, random, own))
    return whole


def _chosen(conditional, draws: RoughDraws, grid: NoiseGrid, count: int, random, own: bool) -> Weighted:
    """Draws of x by weight, with s about their solutions."""
    j = draws.chosen(random, count)
    x, given = draws.x[j], draws.ln[j]
    _, s, _ = conditional.moved(x, draws.found[j])
    s, precision = _own_solutions(conditional, x, s) if own else (s, conditional.precision(x))
    return _weighed(conditional, grid, x, s, precision, given, random)


def _joined(parts: list[Weighted]) -> Weighted:
    columns = ([getattr(part, name) for part in parts] for name in ("u", "ln_weight", "late"))
    return Weighted(*(np.concatenate(column) for column in columns))


def _weighed(conditional, grid, x, s, precision, given, random) -> Weighted:
    """With Student's t about s (n, k) of these precisions (n, k, k); given (n,): ln L by which x (n, d) were chosen."""
    count, size = s.shape
    score = random.standard_normal((count, size)) * np.sqrt(_NU / random.chisquare(_NU, count))[:, None]
    factor = np.linalg.cholesky(precision)
    s = s + np.linalg.solve(factor.transpose(0, 2, 1), score[..., None])[..., 0]
    ln_volume = -np.log(np.einsum("nii->ni", factor)).sum(axis=1)
    ln_proposal = -0.5 * (_NU + size) * np.log1p(np.sum(score**2, axis=1) / _NU) - ln_volume
    u = conditional.whole(x, s)
    late = _late(grid.best, u)
    ln = grid.ln_likelihood(late) - 0.5 * of_priors(s, conditional.information) - ln_proposal - given
    return Weighted(u, np.where(conditional.allowed(s), ln, -np.inf), late)


def _late(likelihood: Likelihood, u: np.ndarray) -> np.ndarray:
    return np.concatenate([likelihood.late(u[a : a + _BLOCK]) for a in range(0, len(u), _BLOCK)])


def _own_solutions(conditional: Conditional, x: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Solutions (n, k) and precisions (n, k, k) with slopes of each x where they change; as before where one fails."""
    precision = conditional.precision(x)
    turning, slopes = conditional.turning, conditional.slopes_at(x)
    here = _late(conditional.likelihood, conditional.whole(x, s))
    step = np.sqrt(np.linalg.inv(conditional.precision(conditional.x0[None]))[0].diagonal())
    for k in turning:
        moved = s.copy()
        moved[:, k] += step[k]
        slopes[:, :, k] = (_late(conditional.likelihood, conditional.whole(x, moved)) - here) / step[k]
    known = np.isfinite(here).all(axis=1) & np.isfinite(slopes).all(axis=(1, 2))
    slopes, here = np.where(known[:, None, None], slopes, 0.0), np.where(known[:, None], here, 0.0)
    told = conditional.weighing.applied(slopes)
    own = np.swapaxes(slopes, 1, 2) @ told + np.diag(conditional.information)
    precision = np.where(known[:, None, None], own, precision)
    gradient = np.einsum("nm,nmk->nk", here, told) + s * conditional.information
    move = -np.linalg.solve(precision, gradient[..., None])[..., 0]
    return s + np.where(known[:, None], move, 0.0), precision
