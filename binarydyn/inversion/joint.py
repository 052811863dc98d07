"""All published numbers together to what happened and what the bodies are: fit, weighted draws, what stays open.

Numbers are whitened by their covariance, so that each errs by one unit on its own; search and sampling are those of
reconstruction/.  The sampler looks for good draws with quadratics of the unknowns in place of the motion, taking
their errors for errors of the numbers; the last step moves and weighs each draw with the motion itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np

from ..errors import ConvergenceError
from ..inference.quadratic import Quadratic, quadratic_fit, runs_for
from ..reconstruction.answers.told import LEAST_DRAWS
from ..reconstruction.answers.weighing import weighted_spread
from ..reconstruction.chord import Conditional
from ..reconstruction.exact import Weighted, exactly_weighed
from ..reconstruction.importance import (
    MOST_K,
    Kernels,
    RoughDraws,
    adapted,
    effective_number,
    k_hat,
    ln_normal,
    prior_draws,
    tempered,
)
from ..reconstruction.likelihood import Foretold, Likelihood, of_priors, quadratic
from ..reconstruction.newton import STEP, Solved, best_of, slopes_at
from ..reconstruction.scatter import NoiseGrid
from ..reconstruction.unknowns import Unknowns
from ..timing.noise import Noise
from .degeneracy import Gain, OpenDirection, gains, open_directions, profile
from .published import Published

UNIT = 1e3
"""Stands for one sigma among times: what timing/noise.py adds to each, 3 s, is then 5e-6 of it."""
_STARTS = 4
_GOOD = 3.0
"""Sigmas of chi2 above its mean, below which no further start is tried."""
_CLOUD = 1.5
"""Width of the draws that quadratics are fitted to, in sigmas of the linear posterior."""
_ROUNDS = 3
_FRESH_STAGES, _FRESH, _TEMPERED = 2, 4096, 1500.0
"""Last stages of the sampler by quadratics, their draws, and how many effective draws their kernels are made of."""
_WIDEST, _VOLUME = 2.5, 100.0
"""By how much these kernels are wider in each dimension at most, and in volume."""
_UNTOLD = 1e-9
"""Least eigenvalue of the scaled information below which something is not told at all."""


class Numbers(Protocol):
    """Numbers by name as functions of unknowns."""

    @property
    def unknowns(self) -> Unknowns:
        """Of which they are functions."""

    def of(self, u: np.ndarray, names: Sequence[str]) -> np.ndarray:
        """(n, k) at u (n, p); nan where there is no such number."""


@dataclass(frozen=True)
class PublishedModel:
    """Published numbers as a likelihood sees them: whitened, a sigma being UNIT."""

    numbers: Numbers
    published: Published

    @property
    def unknowns(self) -> Unknowns:
        """What is guessed."""
        return self.numbers.unknowns

    @property
    def observed(self) -> np.ndarray:
        """(m,)."""
        return UNIT * self.published.whitened(self.published.values)

    def predicted(self, u: np.ndarray) -> np.ndarray:
        """(n, m)."""
        return UNIT * self.published.whitened(self.numbers.of(u, self.published.names))


@dataclass(frozen=True)
class KnownRuns:
    """Guesses u (n, p) that were run, what they predict (n, m), and their costs (n,), inf for what did not last."""

    model: Foretold
    u: np.ndarray
    predicted: np.ndarray
    cost: np.ndarray

    @classmethod
    def of(cls, likelihood: Likelihood, u: np.ndarray, late: np.ndarray) -> KnownRuns:
        """From what is late (n, m)."""
        cost = quadratic(likelihood.weighing, late) + of_priors(u, likelihood.information)
        return cls(likelihood.model, u, likelihood.model.observed - late, cost)

    def __add__(self, other: KnownRuns) -> KnownRuns:
        """Both."""
        pairs = ((self.u, other.u), (self.predicted, other.predicted), (self.cost, other.cost))
        return KnownRuns(self.model, *map(np.concatenate, pairs))


@dataclass(frozen=True)
class EmulatedModel:
    """A model by one quadratic for each datum, of the unknowns in sigmas of a linear posterior."""

    model: Foretold
    centre: np.ndarray
    factor: np.ndarray
    fits: tuple[Quadratic, ...]

    @classmethod
    def through(cls, known: KnownRuns, reference: Solved, factor: np.ndarray) -> EmulatedModel:
        """Through those runs that have the published numbers best.  ConvergenceError for too few."""
        p = len(reference.u)
        near = np.argsort(known.cost)[: min(runs_for(None, p), int(np.isfinite(known.cost).sum()))]
        z = np.linalg.solve(factor, (known.u[near] - reference.u).T).T
        try:
            fits = tuple(quadratic_fit(z, column) for column in known.predicted[near].T)
        except ValueError as error:
            raise ConvergenceError(f"too few motions about the solution last: {error}") from None
        return cls(known.model, reference.u, factor, fits)

    @property
    def error(self) -> np.ndarray:
        """(m,) of each datum."""
        return np.array([fit.error for fit in self.fits])

    @property
    def unknowns(self) -> Unknowns:
        """Those of the model."""
        return self.model.unknowns

    @property
    def observed(self) -> np.ndarray:
        """(m,)."""
        return self.model.observed

    def predicted(self, u: np.ndarray) -> np.ndarray:
        """(n, m)."""
        z = np.linalg.solve(self.factor, (u - self.centre).T).T
        return np.column_stack([fit(z) for fit in self.fits])


@dataclass(frozen=True)
class JointInversion:
    """What was found: the solution, draws of the sampler, weighted draws of everything, columns (n,) of these by name:
    unknowns in their units and what was asked for beside; slopes (p,) per u and values by name at the solution, of the
    columns and of the planned numbers."""

    likelihood: Likelihood
    published: Published
    reference: Solved
    draws: RoughDraws
    weighted: Weighted
    columns: dict[str, np.ndarray]
    values: dict[str, float]
    slopes: dict[str, np.ndarray]

    @property
    def unknowns(self) -> Unknowns:
        """What was guessed."""
        return self.likelihood.model.unknowns

    @cached_property
    def covariance(self) -> np.ndarray:
        """(p, p) of u, were all linear."""
        return self.reference.covariance(self.likelihood)

    @cached_property
    def fisher(self) -> dict[str, tuple[float, float]]:
        """Value and sigma of each column by the slopes."""
        sigma = {name: float(np.sqrt(slope @ self.covariance @ slope)) for name, slope in self.slopes.items()}
        return {name: (self.values[name], sigma[name]) for name in self.columns}

    @property
    def effective(self) -> float:
        """Independent draws that the weighted ones are worth: the fewer of the last step's and the sampler's."""
        return min(self.draws.effective, self.weighted.effective)

    @property
    def why_not(self) -> str:
        """Why the draws do not hold; empty where they do."""
        return _why_not(self.draws, self.weighted)

    @cached_property
    def intervals(self) -> dict[str, dict[str, float]]:
        """Of each column: mean, sigma, median, 68 and 95 %; none where the draws do not hold."""
        if self.why_not:
            return {}
        found = {name: weighted_spread(values, self.weighted.weight) for name, values in self.columns.items()}
        return {name: one for name, one in found.items() if one is not None}

    @property
    def degrees(self) -> int:
        """Published numbers less unknowns without a prior: of the cost at the solution, whose priors are data too."""
        return len(self.published.names) - int(np.sum(~np.isfinite(self.unknowns.prior_sigma_u)))

    @property
    def probability(self) -> float | None:
        """Of a larger cost than that of the solution, were all linear; None where as many unknowns are free."""
        from scipy.special import chdtrc

        return float(chdtrc(self.degrees, self.reference.cost)) if self.degrees > 0 else None

    @cached_property
    def directions(self) -> tuple[OpenDirection, ...]:
        """The worst known, by the slopes."""
        return open_directions(self.unknowns, self.covariance)

    def sampled_sd(self, direction: OpenDirection) -> float:
        """Of the draws along a direction, in prior sigmas."""
        t, w = self.weighted.u @ direction.vector, self.weighted.weight
        return float(np.sqrt(w @ (t - w @ t) ** 2))

    @cached_property
    def profile(self) -> tuple[tuple[float, float], ...]:
        """Along the worst known; see degeneracy.profile."""
        return profile(self.likelihood, self.reference, self.directions[0])

    @cached_property
    def gains(self) -> tuple[Gain, ...]:
        """What each planned number would add."""
        return gains(self.unknowns, self.covariance, self.slopes, self.published.planned, self.directions)


def jointly_inverted(
    numbers: Numbers, published: Published, following: Sequence[str] = (), draws: int = 400, seed: int = 0
) -> JointInversion:
    """From published numbers; following: names of what is told of draws beside the unknowns.

    ConvergenceError where no motion has the numbers, or where these say nothing of an unknown that has no prior.
    """
    model = PublishedModel(numbers, published)
    likelihood = Likelihood(model, Noise.of(np.full(len(published.names), UNIT), None, None))
    reference = _fitted(likelihood, seed)
    some, weighted = _drawn(likelihood, reference, draws, seed)
    asked = numbers.unknowns
    columns = dict(zip(asked.names, asked.value(weighted.u).T, strict=True))
    columns |= dict(zip(following, numbers.of(weighted.u, following).T, strict=True)) if following else {}
    values, slopes = _slopes(
        numbers, reference.u, tuple(dict.fromkeys((*columns, *published.names, *published.planned)))
    )
    return JointInversion(likelihood, published, reference, some, weighted, columns, values, slopes)


def _fitted(likelihood: Likelihood, seed: int) -> Solved:
    asked, m = likelihood.model.unknowns, len(likelihood.model.observed)
    p = len(asked.names)
    _, slopes = slopes_at(likelihood, np.zeros(p), np.arange(p))
    _check_told(asked, likelihood.weighing.gram(slopes) + np.diag(likelihood.information))
    known = np.where(np.isfinite(asked.prior_sigma_u), asked.prior_sigma_u, 0.0)
    starts = [np.zeros(p), *(prior_draws(_STARTS - 1, p, seed) * known)]
    return best_of(likelihood, starts, np.zeros(m), m + _GOOD * np.sqrt(2.0 * m))


def _check_told(unknowns: Unknowns, information: np.ndarray) -> None:
    """ConvergenceError where a combination of unknowns has no information at all."""
    size = np.sqrt(np.diag(information))
    scaled = information / np.outer(np.where(size > 0.0, size, 1.0), np.where(size > 0.0, size, 1.0))
    least, vectors = np.linalg.eigh(scaled)
    if least[0] < _UNTOLD:
        parts = [unknowns.names[k] for k in np.argsort(-np.abs(vectors[:, 0]))[:3] if abs(vectors[k, 0]) > 0.1]
        raise ConvergenceError(
            f"the published numbers do not tell {' from '.join(parts)}, of which there is no prior; add a number that "
            "does, or a distribution in [sampling]"
        )


Drawn = tuple[RoughDraws, Weighted]


def _drawn(likelihood: Likelihood, reference: Solved, draws: int, seed: int) -> Drawn:
    """By quadratics that err as they do, each draw moved and weighed by the motion; where too few count, again with
    quadratics through what was run meanwhile."""
    factor = np.linalg.cholesky(reference.covariance(likelihood))
    p = len(reference.u)
    u = reference.u + _CLOUD * prior_draws(runs_for(None, p), p, seed) @ factor.T
    known, target = KnownRuns.of(likelihood, u, likelihood.late(u)), Conditional(likelihood, reference)
    for k in range(_ROUNDS):
        some = _searched(likelihood, EmulatedModel.through(known, reference, factor), reference, seed + k)
        found = exactly_weighed(target, some, NoiseGrid((likelihood,), np.zeros(1), np.ones(1)), draws, seed + k)
        if not _why_not(some, found):
            break
        known = known + KnownRuns.of(likelihood, found.u, found.late)
    return some, found


def _searched(likelihood: Likelihood, emulated: EmulatedModel, reference: Solved, seed: int) -> RoughDraws:
    """Draws of the rough unknowns by quadratics, whose errors stand beside those of the numbers."""
    wider = Noise.of(np.hypot(UNIT, emulated.error), None, None)
    fast = replace(likelihood, model=emulated, noise=wider)
    target = Conditional(fast, replace(reference, late=fast.late(reference.u[None])[0]))
    some = adapted(target, target.dimensions, seed, target.start)
    if not np.isfinite(some.ln_weight).any():
        raise ConvergenceError("no draw of the unknowns has the published numbers; see [sampling]")
    for k in range(_FRESH_STAGES):
        some = _fresh(target, some, np.random.default_rng((seed, 2, k)))
    return some


def _fresh(target: Conditional, some: RoughDraws, random: np.random.Generator) -> RoughDraws:
    """Draws of wider kernels about all before, weighed by their own density alone.

    Weights over all stages of an adaptive sampler count their own successes: tails that were never drawn look as if
    they did not exist, and the effective number does not tell.
    """
    kernels = Kernels.about(some.x, tempered(some.ln_weight, _TEMPERED), random)
    wider = min(_WIDEST, _VOLUME ** (1.0 / target.dimensions))
    kernels = replace(kernels, factors=wider * kernels.factors)
    x = kernels.draw(_FRESH, random)
    ln, found = target(x)
    ln_weight = ln + ln_normal(x) - kernels.ln_density(x)
    stage = (len(x), effective_number(ln_weight), k_hat(ln_weight))
    return RoughDraws(x, found, ln, ln_weight, 0, (*some.stages, stage))


def _why_not(some: RoughDraws, weighted: Weighted) -> str:
    """Of the last step k-hat counts only where less than half of its draws do: it is a noisy number else."""
    effective = min(some.effective, weighted.effective)
    few = weighted.effective < 0.5 * len(weighted.ln_weight)
    k_hat = max(some.k_hat, weighted.k_hat) if few else some.k_hat
    if effective < LEAST_DRAWS:
        return f"{effective:.0f} effective draws are fewer than {LEAST_DRAWS:.0f}"
    return f"k-hat {k_hat:.2f} is above {MOST_K:g}" if k_hat > MOST_K else ""


def _slopes(numbers: Numbers, u: np.ndarray, names: Sequence[str]) -> tuple[dict[str, float], dict[str, np.ndarray]]:
    """Values at u (p,) and slopes (p,) per u by name."""
    p = len(u)
    found = numbers.of(u + STEP * np.vstack([np.zeros(p), np.eye(p), -np.eye(p)]), names)
    slope = (found[1 : p + 1] - found[p + 1 :]) / (2.0 * STEP)
    return dict(zip(names, found[0].tolist(), strict=True)), dict(zip(names, slope.T, strict=True))
