"""The error budget: whose uncertainty the period change has, and whose a beta inferred from a measured one has.

Prediction: indices (variance.py) of the fitted response (response.py) of the period change.  Inference: indices of
beta, or without an impactor of the velocity change, as inference/infer.py solves for it, over the inputs and the
measurement, whose sigma holds the error of the simulated emulator.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..kinds import sure
from ..scenario import Scenario
from ..scenario.tables.sampling import Distribution, Sampling
from .infer import beta_set_aside, check_measured, inverted, prior
from .posterior import DONE, Posterior
from .prior import Draws, draws_at
from .response import Response, check_prediction, period_change, response
from .sobol_indices import DEFAULT_COUNT, Indices, check_points, indices
from .surrogate import Surrogate, columns
from .surrogate_runs import related, seed_of

MEASURED = "observed.period_change_s"
_FORMS = {"period_change_s": "+.1f", "beta": ".3f", "along_track_dv_mm_s": "+.4f"}
_FEW = 1e-3
"""Variance that the fitted response may miss before it is said."""
_DRAWS = 4096


@dataclass(frozen=True)
class ErrorBudget:
    """Indices of one outcome: `period_change_s`, `beta` or `along_track_dv_mm_s`.

    mean, sigma: over the members, or the draws.  error_share: of the variance, what the emulator misses
    (leave-one-out); runs: simulations behind it; left_out: how many of them had no outcome, by reason; chaotic: how
    many ended well though their attitude is chaotic.
    """

    outcome: str
    mean: float
    sigma: float
    indices: Indices
    error_share: float
    runs: int
    left_out: Mapping[str, int]
    chaotic: int
    warnings: tuple[str, ...]

    @property
    def form(self) -> str:
        """How its mean is written: to the digits that a budget is worth, with the sign where the outcome's is told."""
        return _FORMS[self.outcome]

    @property
    def part(self) -> str:
        """Of `sensitivity`: prediction or inference."""
        return "prediction" if self.outcome == "period_change_s" else "inference"

    def order(self) -> np.ndarray:
        """(d,) places of the inputs from the greatest total index down."""
        return np.argsort(-self.indices.total.value, kind="stable")


def of_prediction(
    scenario: Scenario, count: int = DEFAULT_COUNT, seed: int | None = None, runs: int | None = None
) -> ErrorBudget:
    """Of the predicted period change.

    count: points behind each index, a power of 2; seed: default that of [sampling]; runs: simulations behind the
    response (default: from the number of inputs).  Errors: InputError, ConvergenceError.
    """
    check_points(count)
    fit = period_change(scenario, runs, seed)
    found = indices(sure(scenario.sampling), fit, count, seed_of(scenario, seed))
    said = _correlated(found)
    if fit.error_share > _FEW:
        said += (f"a quadratic misses {100.0 * fit.error_share:.2g} % of the variance, which belongs to no input here",)
    if lost := sum(fit.left_out.values()):
        words = ", ".join(f"{number} {word}" for word, number in sorted(fit.left_out.items()))
        said += (
            f"{lost} of {fit.runs} simulations are left out ({words}); the indices are those of a smooth emulator "
            "through the others",
        )
    if fit.chaotic:
        said += (
            f"{fit.chaotic} of {fit.runs} simulations have a chaotic attitude; they count, and what their period is "
            "off a smooth emulator is in what the quadratic misses",
        )
    return ErrorBudget(
        "period_change_s", fit.mean, fit.sigma, found, fit.error_share, fit.runs, dict(fit.left_out), fit.chaotic, said
    )


def of_inference(
    scenario: Scenario,
    change_s: float,
    sigma_s: float,
    count: int = DEFAULT_COUNT,
    seed: int | None = None,
    runs: int | None = None,
) -> ErrorBudget:
    """Of beta inferred from a period change, or of the velocity change where no impactor is given; arguments as
    of_prediction.

    A drawn beta is no input here.  Points that have no beta (a miss, no velocity change that gives the change) take
    what a quadratic through the others gives there.  Errors: InputError, ConvergenceError.
    """
    check_points(count)
    check_prediction(scenario, runs, 1)
    check_measured(scenario, change_s, sigma_s)
    surrogate = related(scenario, change_s, sigma_s, runs, seed)
    draws = prior(surrogate, _DRAWS, seed)
    sample = inverted(surrogate, draws, change_s, sigma_s)
    solved = _Solved(surrogate, change_s, sigma_s, draws, sample)
    given = _with_measurement(sure(surrogate.scenario.sampling), change_s, solved.sigma_s)
    found = indices(given, solved, count, seed_of(scenario, seed))
    return ErrorBudget(
        outcome=solved.outcome,
        mean=solved.spare.mean,
        sigma=solved.spare.sigma,
        indices=found,
        error_share=_of_relation(sample) * float(found.total.value[-1]),
        runs=surrogate.runs,
        left_out={"ended_early_or_refused": surrogate.left_out} if surrogate.left_out else {},
        chaotic=surrogate.chaotic_runs,
        warnings=_correlated(found) + sample.warnings + beta_set_aside(scenario) + solved.warnings,
    )


def _of_relation(sample: Posterior) -> float:
    """The emulator's share of the variance of the measurement as it is inverted, chaotic runs with their error."""
    return (sample.emulator_error_s / math.hypot(sample.sigma_s, sample.emulator_error_s)) ** 2


class _Solved:
    """Beta, or the velocity change, as a function of the inputs and of the measured change."""

    def __init__(self, surrogate: Surrogate, change_s: float, sigma_s: float, draws: Draws, found: Posterior):
        self.surrogate, self.change_s, self.given_sigma_s = surrogate, change_s, sigma_s
        self.sigma_s = math.hypot(sigma_s, surrogate.error_s)
        self.outcome = "beta" if found.has_beta else "along_track_dv_mm_s"
        x = np.column_stack([columns(draws.inputs, _DRAWS), change_s + self.sigma_s * draws.noise])
        self.spare: Response = response((*draws.inputs, MEASURED), x, self._value(found), found.status)

    @property
    def warnings(self) -> tuple[str, ...]:
        """That some points have no outcome of their own."""
        if not self.spare.left_out:
            return ()
        return (
            f"where there is no {self.outcome}, a quadratic through the others stands in; it misses "
            f"{100.0 * self.spare.error_share:.2g} % of the variance elsewhere",
        )

    def _value(self, found: Posterior) -> np.ndarray:
        return found.beta if found.has_beta else found.dv_mm_s

    def __call__(self, inputs: Mapping[str, np.ndarray]) -> np.ndarray:
        given = {name: values for name, values in inputs.items() if name != MEASURED}
        noise = (inputs[MEASURED] - self.change_s) / self.sigma_s
        draws = draws_at(self.surrogate, given, noise)
        found = inverted(self.surrogate, draws, self.change_s, self.given_sigma_s)
        return np.where(found.status == DONE, self._value(found), self.spare(inputs))


def _with_measurement(sampling: Sampling, change_s: float, sigma_s: float) -> Sampling:
    measured = Distribution(normal=(change_s, sigma_s))
    return sampling.model_copy(update={"quantities": sampling.quantities | {MEASURED: measured}})


def _correlated(found: Indices) -> tuple[str, ...]:
    if not found.correlated:
        return ()
    return (
        f"{', '.join(found.correlated)} are correlated: the first order of each holds what it shares with the others, "
        "its total only what it has by itself, so they are no partition of the variance and need not add up",
    )
