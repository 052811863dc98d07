"""All published numbers together to what happened and what the bodies are: fit, weighted draws, what stays open.

Numbers are whitened by their covariance, so that each errs by one unit on its own; search and sampling are those of
reconstruction/, with quadratics in place of the motion where draws are looked for (drawing.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from ..errors import ConvergenceError
from ..reconstruction.answers.weighing import weighted_spread
from ..reconstruction.exact import Weighted
from ..reconstruction.importance import RoughDraws, prior_draws
from ..reconstruction.likelihood import Likelihood
from ..reconstruction.newton import STEP, Solved, best_of, slopes_at
from ..reconstruction.unknowns import Unknowns
from ..timing.noise import Noise
from .degeneracy import Gain, OpenDirection, gains, open_directions, profile
from .drawing import weighed_draws, why_not
from .published import Published

UNIT = 1e3
"""Stands for one sigma among times: what timing/noise.py adds to each, 3 s, is then 5e-6 of it."""
_STARTS = 4
_GOOD = 3.0
"""Sigmas of chi2 above its mean, below which no further start is tried."""
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
        return why_not(self.draws, self.weighted)

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
    some, weighted = weighed_draws(likelihood, reference, draws, seed)
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


def _slopes(numbers: Numbers, u: np.ndarray, names: Sequence[str]) -> tuple[dict[str, float], dict[str, np.ndarray]]:
    """Values at u (p,) and slopes (p,) per u by name."""
    p = len(u)
    found = numbers.of(u + STEP * np.vstack([np.zeros(p), np.eye(p), -np.eye(p)]), names)
    slope = (found[1 : p + 1] - found[p + 1 :]) / (2.0 * STEP)
    return dict(zip(names, found[0].tolist(), strict=True)), dict(zip(names, slope.T, strict=True))
