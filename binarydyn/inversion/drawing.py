"""Weighted draws where a run costs more than in lanes alone: quadratics look for them, the motion weighs them.

At rough unknowns x the smooth ones have a solution s(x), and something stays late there, r(x).  Both are quadratics of
x through some runs; sampling uses these, taking their errors for errors of the numbers.  The last step moves and weighs
each draw with the motion itself, so that what quadratics miss costs effective draws, not truth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import ConvergenceError
from ..inference.quadratic import Quadratic, quadratic_fit, runs_for
from ..reconstruction.answers.told import LEAST_DRAWS
from ..reconstruction.chord import Conditional
from ..reconstruction.exact import ExactWeights, Weighted, exactly_weighed
from ..reconstruction.importance import MOST_K, RoughDraws, adapted, prior_draws, refreshed
from ..reconstruction.likelihood import Likelihood, of_priors, quadratic
from ..reconstruction.newton import Solved
from ..reconstruction.scatter import NoiseGrid

_MOVES = 2
"""By the motion, from a guess of s to its solution."""
_ROUNDS = 2
_FRESH_STAGES, _FRESH = 2, 4096
"""How often fresh draws are made, each time about those before, and how many."""


@dataclass(frozen=True)
class SolvedRuns:
    """Rough unknowns x (n, d) with their solutions s (n, k), what is late there (n, m), and its cost (n,), inf for what
    does not last."""

    x: np.ndarray
    s: np.ndarray
    late: np.ndarray
    cost: np.ndarray

    @classmethod
    def of(cls, target: Conditional, x: np.ndarray) -> SolvedRuns:
        """By the motion; three runs each."""
        s = target.guess(x)
        for _ in range(_MOVES):
            found = target.moved(x, s)
            s = np.where(np.isfinite(found.whole)[:, None], found.middle[0], s)
        late = target.likelihood.late(target.whole(x, s))
        cost = quadratic(target.weighing, late) + of_priors(x, np.ones(x.shape[1]))
        return cls(x, s, late, cost)

    def __add__(self, other: SolvedRuns) -> SolvedRuns:
        """Both."""
        pairs = zip(vars(self).values(), vars(other).values(), strict=True)
        return SolvedRuns(*map(np.concatenate, pairs))


@dataclass(frozen=True)
class EmulatedTarget:
    """ln L(x) as a Conditional has it, by quadratics of x in sigmas of a linear posterior, through the best runs."""

    conditional: Conditional
    factor: np.ndarray
    late: tuple[Quadratic, ...]
    solution: tuple[Quadratic, ...]

    @classmethod
    def through(cls, conditional: Conditional, known: SolvedRuns) -> EmulatedTarget:
        """ConvergenceError where too few of the runs last."""
        factor = np.linalg.cholesky(conditional.start[1])
        lasting = int(np.isfinite(known.cost).sum())
        near = np.argsort(known.cost)[: min(runs_for(None, conditional.dimensions), lasting)]
        z = np.linalg.solve(factor, (known.x[near] - conditional.x0).T).T
        try:
            late, solution = (
                tuple(quadratic_fit(z, column) for column in part[near].T) for part in (known.late, known.s)
            )
        except ValueError as error:
            raise ConvergenceError(
                f"too few motions about the solution last: {error}; give more numbers, or know more of the inputs in "
                "[sampling], so that more motions last"
            ) from None
        return cls(conditional, factor, late, solution)

    def __call__(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """ln L (n,) and solutions (n, k)."""
        z = np.linalg.solve(self.factor, (x - self.conditional.x0).T).T
        s = np.column_stack([fit(z) for fit in self.solution])
        own = self.conditional.likelihood.noise.own_variance(1.0)
        late = np.column_stack([fit(z) for fit in self.late]) ** 2
        chi2 = late @ (1.0 / (own + np.array([fit.error for fit in self.late]) ** 2))
        volume = np.linalg.slogdet(self.conditional.precision(x))[1]
        return -0.5 * (chi2 + of_priors(s, self.conditional.information) + volume), s

    def learn(self, x: np.ndarray, found: np.ndarray, ln: np.ndarray) -> None:
        """Nothing: quadratics know where solutions lie."""


Drawn = tuple[RoughDraws, Weighted]


def weighed_draws(likelihood: Likelihood, reference: Solved, draws: int, seed: int) -> Drawn:
    """Of numbers that err independently; where too few draws count, again with more runs about the first ones."""
    target = Conditional(likelihood, reference)
    middle, covariance = target.start
    d = target.dimensions
    runs = runs_for(None, d)
    known = SolvedRuns.of(target, middle + prior_draws(runs, d, seed) @ np.linalg.cholesky(covariance).T)
    weigher = ExactWeights(NoiseGrid((likelihood,), np.zeros(1), np.ones(1)))
    for k in range(_ROUNDS):
        some = _searched(EmulatedTarget.through(target, known), seed + k)
        found = exactly_weighed(target, some, weigher, draws, seed + k)
        if k == _ROUNDS - 1 or not why_not(some, found):
            break
        known = known + SolvedRuns.of(target, some.x[some.chosen(np.random.default_rng((seed, 3)), runs)])
    return some, found


def _searched(target: EmulatedTarget, seed: int) -> RoughDraws:
    d = target.conditional.dimensions
    some = adapted(target, d, seed, target.conditional.start)
    for k in range(_FRESH_STAGES):
        if not np.isfinite(some.ln_weight).any():
            raise ConvergenceError("no draw of the unknowns has the published numbers; see [sampling]")
        some = refreshed(target, some, np.random.default_rng((seed, 2, k)), _FRESH, _FRESH)
    return some


def why_not(some: RoughDraws, weighted: Weighted) -> str:
    """Why draws do not hold; empty where they do.

    Of the last step k-hat counts only where less than half of its draws do: it is a noisy number else.
    """
    effective = min(some.effective, weighted.effective)
    few = weighted.effective < 0.5 * len(weighted.ln_weight)
    shape = max(some.k_hat, weighted.k_hat) if few else some.k_hat
    if effective < LEAST_DRAWS:
        return f"{effective:.0f} effective draws are fewer than {LEAST_DRAWS:.0f}"
    return f"k-hat {shape:.2f} is above {MOST_K:g}" if shape > MOST_K else ""
