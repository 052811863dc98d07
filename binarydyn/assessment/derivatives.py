"""What each uncertain input does to beta (without an impactor: to the push), at the medians of all.

Central differences of a tenth of a sigma through the relation that was fitted to simulations (relation.py); by its
leave-one-out error e a slope is off by about e db/dP / (w sqrt(runs)), w the spread of the input in the design.  So
inputs that are known very well, and add nothing to the width, have slopes that mean nothing.  With c, what one sigma of
each input contributes, and R, their correlations, the variance of the posterior is c R c to first order, and the share
of an input is c_i (R c)_i of it (negative where a correlation takes away).
Valid where one sigma moves beta in proportion; the posterior itself is not linear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..impact.draws import at_scores
from .draws import draws_at, solution
from .posterior import Posterior

_STEP_SIGMAS = 0.1
MEASURED, RELATION = "observed.period_change_s", "error of the relation, s"


@dataclass(frozen=True)
class Derivative:
    """Of beta, or of the push in mm/s, to an input in its own unit, at a value of it; see above.

    slope: the derivative, slope_error: of it by the relation's error; share: of the variance.
    """

    name: str
    at: float
    sigma: float
    slope: float
    slope_error: float
    share: float

    @property
    def contribution(self) -> float:
        """What one sigma of the input adds, with its sign."""
        return self.slope * self.sigma


@dataclass(frozen=True)
class Linearised:
    """The posterior to first order: one row for each input, the measurement and the relation's error; and its sigma."""

    rows: tuple[Derivative, ...]
    sigma: float


def linearised(posterior: Posterior) -> Linearised | None:
    """None where the medians of the inputs have no solution, as with an impactor that misses there."""
    sampling, relation, drawn = posterior.scenario.sampling, posterior.relation, posterior.inputs
    names, scores = list(drawn), _steps(len(drawn) + 1)
    inputs = {name: at_scores(sampling, name, z) for name, z in zip(names, scores.T, strict=False)}
    change = posterior.change_s + posterior.sigma_s * scores[:, -1]
    solved = solution(relation, draws_at(relation, inputs, np.zeros(len(scores))), change)
    values = solved.beta if posterior.has_beta else 1e3 * solved.dv_m_s
    x = np.column_stack([*inputs.values(), change])
    moved = np.diagonal(x[1::2] - x[2::2])
    if not (np.isfinite(values).all() and moved.all()):
        return None
    slopes = (values[1::2] - values[2::2]) / moved
    spread = relation.departure.width * np.sqrt(relation.fitted_runs)
    errors = np.abs(slopes[-1]) * relation.error_s / spread
    sigmas = np.array([*(each.std() for each in drawn.values()), posterior.sigma_s, posterior.relation_error_s])
    # The relation's error (with that of unstable runs near the draws), the last row, acts as the measurement's.
    slopes, errors, centres = np.append(slopes, slopes[-1]), np.append(errors, errors[-1]), np.append(x[0], 0.0)
    parts = _parts(slopes * sigmas, sampling.correlation_matrix if names else [])
    numbers = zip(centres, sigmas, slopes, errors, parts / parts.sum(), strict=True)
    rows = (Derivative(name, *map(float, row)) for name, row in zip([*names, MEASURED, RELATION], numbers, strict=True))
    return Linearised(tuple(rows), float(np.sqrt(parts.sum())))


def _steps(size: int) -> np.ndarray:
    """(1 + 2 size, size) scores: the medians, then each one up and down."""
    scores = np.zeros((1 + 2 * size, size))
    for i in range(size):
        scores[1 + 2 * i, i], scores[2 + 2 * i, i] = _STEP_SIGMAS, -_STEP_SIGMAS
    return scores


def _parts(contributions: np.ndarray, correlations: list[list[float]]) -> np.ndarray:
    """(n,) parts of the variance; measurement and relation, the last two, are independent of all."""
    matrix, size = np.eye(len(contributions)), len(correlations)
    matrix[:size, :size] = np.reshape(correlations, (size, size))
    return contributions * (matrix @ contributions)
