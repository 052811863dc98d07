"""Draws of few unknowns by adaptive multiple importance sampling: from the prior, then about what was found good.

Every stage draws from a share of the prior and Student kernels about weighted draws of all stages before, each with the
covariance of its neighbours.  All draws stay; each is weighed over the mixture of all stages' densities in their shares
(deterministic mixture: Cornuet, Marin, Mira & Robert 2012, Scand. J. Stat. 39, 798, doi
10.1111/j.1467-9469.2011.00756.x, from memory).  Such weights count their own successes: tails that were never drawn
look as if they did not exist (sd of an eccentricity 0.9 of the truth, with good diagnostics).  So what counts are fresh
draws, of wider kernels about all before, weighed by their own density alone.  The prior is standard normal in every
unknown.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

ENOUGH, MOST_K = 200.0, 0.7
"""Effective draws and k-hat at which it stops; beyond MOST_K means of weighted draws do not settle (Vehtari, Simpson,
Gelman, Yao & Gabry 2024, J. Mach. Learn. Res. 25(72), 1)."""
MOST_STAGES, _AT_LEAST = 20, 2
STAGE = 768
"""Draws of a stage."""
_PRIOR_SHARE, _CENTRES, _NU = 0.25, 300, 8.0
_OWN, _WHOLE = 0.8, 0.06
"""Of the covariance of a kernel: its neighbours' share and that of all draws."""
_FLOOR = 1e-4
_COUNTED = (60.0, 400.0)
"""Effective draws that kernels are made of: a tenth of all, within these, by weights to a power."""
_WIDEST, _VOLUME, _TEMPERED = 2.5, 100.0, 1500.0
"""Of the kernels of fresh draws: by how much they are wider in each dimension at most, and in volume, and how many
effective draws they are made of at most."""


class Target(Protocol):
    """ln of a likelihood that learns where its own solutions lie."""

    def __call__(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """ln of the likelihood (n,), -inf for what cannot be, and something (n, k) of each, at x (n, d)."""

    def learn(self, x: np.ndarray, found: np.ndarray, ln: np.ndarray) -> None:
        """From all draws so far."""


@dataclass(frozen=True)
class RoughDraws:
    """x (n, d), what the target found of each (n, k), ln likelihoods and ln weights (n,); prior: so many of the first
    are draws of the prior; stages: draws, effective number, k-hat after each."""

    x: np.ndarray
    found: np.ndarray
    ln: np.ndarray
    ln_weight: np.ndarray
    prior: int
    stages: tuple[tuple[int, float, float], ...]

    @property
    def effective(self) -> float:
        """How many independent draws they are worth."""
        return self.stages[-1][1]

    @property
    def k_hat(self) -> float:
        """Of their weights."""
        return self.stages[-1][2]

    def chosen(self, random: np.random.Generator, count: int) -> np.ndarray:
        """(count,) places of draws by weight, evenly spread."""
        at = (np.arange(count) + random.random()) / count
        return np.minimum(np.searchsorted(np.cumsum(weights(self.ln_weight)), at), len(self.ln) - 1)


def prior_draws(count: int, dimensions: int, seed: int) -> np.ndarray:
    """(count, dimensions) of the standard normal prior, by a scrambled Sobol sequence."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    whole = qmc.Sobol(dimensions, rng=seed).random_base2(int(np.ceil(np.log2(count))))
    return ndtri(np.clip(whole[:count], 1e-9, 1.0 - 1e-9))


def adapted(
    target: Target, dimensions: int, seed: int = 0, start: tuple[np.ndarray, np.ndarray] | None = None,
    enough: float = ENOUGH, most: int = MOST_STAGES,
) -> RoughDraws:  # fmt: skip
    """Stages until so many draws count and k-hat is below MOST_K, or after `most` of them.

    start: mean (d,) and covariance (d, d) about which half of the first stage is drawn; all of it from the prior where
    it is None.
    """
    random = np.random.default_rng(seed)
    mixtures = [] if start is None else [Kernels(start[0][None], np.ones(1), np.linalg.cholesky(start[1])[None])]
    x = prior_draws(STAGE // (1 + len(mixtures)), dimensions, seed)
    counts, densities = [len(x)], [ln_normal(x)]
    if mixtures:
        x = np.vstack([x, mixtures[0].draw(len(x), random)])
        counts, densities = 2 * counts, [ln_normal(x), mixtures[0].ln_density(x)]
    ln, found = target(x)
    stages = []
    while True:
        shares = np.log(np.array(counts) / len(x))
        ln_weight = ln + ln_normal(x) - _ln_sum(np.stack(densities) + shares[:, None])
        stages.append((len(x), effective_number(ln_weight), k_hat(ln_weight)))
        settled = len(mixtures) >= _AT_LEAST and stages[-1][1] >= enough and stages[-1][2] < MOST_K
        if settled or len(mixtures) >= most or not np.isfinite(ln).any():
            return RoughDraws(x, found, ln, ln_weight, counts[0], tuple(stages))
        target.learn(x, found, ln)
        mixtures.append(Kernels.about(x, tempered(ln_weight, float(np.clip(0.1 * len(x), *_COUNTED))), random))
        more = mixtures[-1].draw(STAGE, random)
        ln_more, found_more = target(more)
        old = [ln_normal(more), *(one.ln_density(more) for one in mixtures[:-1])]
        densities = [np.concatenate(pair) for pair in zip(densities, old, strict=True)]
        x, ln, found = np.vstack([x, more]), np.concatenate([ln, ln_more]), np.vstack([found, found_more])
        densities.append(mixtures[-1].ln_density(x))
        counts.append(len(more))


def refreshed(
    target: Target, some: RoughDraws, random: np.random.Generator, stage: int = STAGE, most: int = 6 * STAGE
) -> RoughDraws:
    """Fresh draws in place of all but those of the prior, which weigh nothing: stages of one density until ENOUGH of
    them count, `most` at most."""
    kernels = Kernels.about(some.x, tempered(some.ln_weight, min(_TEMPERED, 0.5 * len(some.x))), random).wider
    target.learn(some.x, some.found, some.ln)
    first = slice(0, some.prior)
    x, found, ln = some.x[first], some.found[first], some.ln[first]
    ln_weight, stages = np.full(len(x), -np.inf), list(some.stages)
    for _ in range(max(1, most // stage)):
        more = kernels.draw(stage, random)
        ln_more, found_more = target(more)
        x, ln, found = np.vstack([x, more]), np.concatenate([ln, ln_more]), np.vstack([found, found_more])
        ln_weight = np.concatenate([ln_weight, ln_more + ln_normal(more) - kernels.ln_density(more)])
        stages.append((len(x), effective_number(ln_weight), k_hat(ln_weight)))
        if stages[-1][1] >= ENOUGH and stages[-1][2] < MOST_K:
            break
    return RoughDraws(x, found, ln, ln_weight, some.prior, tuple(stages))


@dataclass(frozen=True)
class Kernels:
    """A share of the prior, and Student kernels at centres (c, d) with weights (c,) and factors (c, d, d) of their
    covariances."""

    centres: np.ndarray
    weight: np.ndarray
    factors: np.ndarray

    @classmethod
    def about(cls, x: np.ndarray, w: np.ndarray, random: np.random.Generator) -> Kernels:
        """From draws x (n, d) of weights (n,).

        Each kernel is as wide as the rule of Silverman (1986, Density Estimation, sec. 4.3, from memory) says for its
        neighbours, which hold a sixth of the effective number.
        """
        d = x.shape[1]
        chosen, times = np.unique(random.choice(len(x), _CENTRES, p=w), return_counts=True)
        off = x - w @ x
        whole = (off * w[:, None]).T @ off + _FLOOR * np.eye(d)
        even = np.linalg.solve(np.linalg.cholesky(whole), x.T).T
        effective = 1.0 / np.sum(w**2)
        near = max(4.0 * d, effective / 6.0)
        narrower = (4.0 / (d + 2.0) / near) ** (2.0 / (d + 4.0))
        covariances = [_near(x, w, np.sum((even - even[i]) ** 2, axis=1), near / effective) for i in chosen]
        scaled = narrower * (_OWN * np.array(covariances) + _WHOLE * whole) + _FLOOR * np.eye(d)
        return cls(x[chosen], times / times.sum(), np.linalg.cholesky(scaled))

    @property
    def wider(self) -> Kernels:
        """Wide enough for tails that these draws may lack."""
        return replace(self, factors=min(_WIDEST, _VOLUME ** (1.0 / self.centres.shape[1])) * self.factors)

    def draw(self, count: int, random: np.random.Generator) -> np.ndarray:
        """(count, d)."""
        z = random.standard_normal((count, self.centres.shape[1]))
        which = random.choice(len(self.centres), count, p=self.weight)
        longer = np.sqrt(_NU / random.chisquare(_NU, count))[:, None]
        kernel = self.centres[which] + np.einsum("nij,nj->ni", self.factors[which], z) * longer
        return np.where((random.random(count) < _PRIOR_SHARE)[:, None], z, kernel)

    def ln_density(self, x: np.ndarray) -> np.ndarray:
        """(n,) at x (n, d)."""
        from scipy.special import gammaln

        d = x.shape[1]
        inverse = np.linalg.inv(self.factors)
        at = np.einsum("cij,cj->ci", inverse, self.centres)
        norm = gammaln(0.5 * (_NU + d)) - gammaln(0.5 * _NU) - 0.5 * d * np.log(_NU * np.pi)
        norm = norm - np.log(np.einsum("cii->ci", self.factors)).sum(axis=1) + np.log(self.weight)
        out = np.empty(len(x))
        for begin in range(0, len(x), STAGE):
            part = slice(begin, begin + STAGE)
            away = np.sum((np.einsum("cij,nj->cni", inverse, x[part], optimize=True) - at[:, None]) ** 2, axis=2)
            out[part] = _ln_sum(norm[:, None] - 0.5 * (_NU + d) * np.log1p(away / _NU))
        return np.logaddexp(np.log(_PRIOR_SHARE) + ln_normal(x), np.log1p(-_PRIOR_SHARE) + out)


def _near(x: np.ndarray, w: np.ndarray, away: np.ndarray, share: float) -> np.ndarray:
    """(d, d) covariance of the nearest draws that hold this share of the weight."""
    order = np.argsort(away)
    least = int(np.searchsorted(np.cumsum(w[order]), min(share, 0.999))) + 1
    order = order[: max(least, 2 * x.shape[1])]
    v = w[order] + 1e-12
    v = v / v.sum()
    off = x[order] - v @ x[order]
    return (off * v[:, None]).T @ off


def ln_normal(x: np.ndarray) -> np.ndarray:
    """(n,) ln of the standard normal density of x (n, d)."""
    return -0.5 * np.sum(x**2, axis=1) - 0.5 * x.shape[1] * np.log(2.0 * np.pi)


def _ln_sum(parts: np.ndarray) -> np.ndarray:
    """(n,) ln of the sum over the first axis of exp parts (c, n)."""
    top = parts.max(axis=0)
    return top + np.log(np.sum(np.exp(parts - top), axis=0))


def weights(ln_weight: np.ndarray) -> np.ndarray:
    """(n,) that sum to 1; ln weights may be -inf, but not all of them."""
    w = np.exp(ln_weight - ln_weight.max())
    return w / w.sum()


def effective_number(ln_weight: np.ndarray) -> float:
    """Of independent draws that weighted ones are worth (Kish); 0 where none has any weight."""
    return float(1.0 / np.sum(weights(ln_weight) ** 2)) if np.isfinite(ln_weight).any() else 0.0


def tempered(ln_weight: np.ndarray, least: float) -> np.ndarray:
    """Weights (n,) to the greatest power up to 1 at which so many draws count."""
    low, high, power = 0.0, 1.0, 1.0
    known = np.isfinite(ln_weight)
    raised = np.where(known, ln_weight, 0.0)
    for _ in range(30):
        found = np.where(known, power * raised, -np.inf)
        enough = effective_number(found) >= least
        if enough and power == 1.0:
            break
        low, high = (power, high) if enough else (low, power)
        power = 0.5 * (low + high)
    return weights(np.where(known, power * raised, -np.inf))


def k_hat(ln_weight: np.ndarray) -> float:
    """Shape of the generalised Pareto distribution of the largest weights; inf for too few.

    Zhang & Stephens 2009, Technometrics 51, 316, doi 10.1198/tech.2009.08017, with the weak prior and the length of the
    tail of Vehtari et al. (2024).
    """
    finite = ln_weight[np.isfinite(ln_weight)]
    tail = int(min(0.2 * len(finite), 3.0 * np.sqrt(len(finite))))
    if tail < 5:
        return float("inf")
    w = np.sort(np.exp(finite - finite.max()))
    above = w[-tail:] - w[-tail - 1]
    if not above[0] > 0.0:
        above = np.maximum(above, 1e-300)
    return float((tail * pareto_shape(above) + 5.0) / (tail + 10.0))


def pareto_shape(above: np.ndarray) -> float:
    """k of a generalised Pareto distribution from ascending excesses (n,), n >= 5."""
    n = len(above)
    count = 30 + int(np.sqrt(n))
    quartile = above[int(n / 4 + 0.5) - 1]
    b = 1.0 / above[-1] + (1.0 - np.sqrt(count / (np.arange(1, count + 1) - 0.5))) / (3.0 * quartile)
    k = np.log1p(-b[:, None] * above).mean(axis=1)
    profile = n * (np.log(-b / k) - k - 1.0)
    return float(np.log1p(-(b @ weights(profile)) * above).mean())
