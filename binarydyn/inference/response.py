"""The period change as a smooth function of the sampled inputs, from full simulations of members of a Sobol sample.

Members are whole ones: relaxed and calibrated, hit, and run over the window after t0, side by side (brief.py); where
that cannot be (perturbations, another estimator than the weighted fit) they are predicted one by one.  What is fitted
is a quadratic polynomial (inference/quadratic.py); its leave-one-out error tells what a member's outcome differs by.
Members that tumble or are chaotic have a period that is some seconds off a smooth function: they take part, as leaving
them out would take their inputs out too, and their scatter is in the leave-one-out error.  Members that touch, end
early, miss or are refused have no outcome: they are counted by what became of them and left out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..batch.summary import check_summary, summary_rows
from ..ensembles.backends import rows_of
from ..errors import ConvergenceError, InputError
from ..kinds import sure
from ..sampling.members import Row
from ..sampling.sample import Sample
from ..scenario import Scenario
from .posterior import DONE
from .quadratic import Quadratic, quadratic_fit, runs_for, terms_of

ENDED_WELL = (DONE, "chaotic", "tumbling")
_IRREGULAR = {"chaotic_before": "chaotic", "chaotic_after": "chaotic", "lost_lock_after": "tumbling"}
"""By their flags, the last that holds: what observables.chaos.is_regular refuses, in either window."""
_WORDS = "<U16"
_SETTINGS = ("simulation", "observation", "observed", "observer", "requirement", "spacecraft")


@dataclass(frozen=True)
class Response:
    """A fitted outcome of the inputs `names`: mean, sigma over the members that count; left_out: how many by reason.

    chaotic: how many of those that count are chaotic or tumble.
    """

    names: tuple[str, ...]
    fit: Quadratic
    mean: float
    sigma: float
    runs: int
    left_out: Mapping[str, int]
    chaotic: int = 0

    @property
    def error_share(self) -> float:
        """Variance that the fit misses (leave-one-out) over that of the outcome."""
        return (self.fit.error / self.sigma) ** 2

    def __call__(self, inputs: Mapping[str, np.ndarray]) -> np.ndarray:
        """(n,) outcomes at values (n,) of the inputs."""
        return self.fit(np.column_stack([inputs[name] for name in self.names]))


def response(names: tuple[str, ...], inputs: np.ndarray, outcome: np.ndarray, status: np.ndarray) -> Response:
    """Fit outcomes (n,) at inputs (n, d) whose status is one of ENDED_WELL; ConvergenceError where they are too few."""
    well = np.isin(status, ENDED_WELL)
    needed = 2 * terms_of(len(names))
    if well.sum() < needed:
        sentence = f"only {well.sum()} of {len(well)} runs end well, {needed} are needed; narrow [sampling] or add runs"
        raise ConvergenceError(sentence)
    kept = outcome[well]
    left_out = Counter(map(str, status[~well]))
    fit, chaotic = quadratic_fit(inputs[well], kept), int(np.sum(well & (status != DONE)))
    return Response(names, fit, float(kept.mean()), float(kept.std()), len(well), left_out, chaotic)


def check_prediction(scenario: Scenario, runs: int | None, further: int = 0) -> None:
    """InputError where there is no [sampling], nothing that hits, or an impossible number of runs.

    further: inputs besides those of [sampling].
    """
    if not (scenario.sampling and scenario.sampling.quantities):
        raise InputError(
            f"{scenario.place}:sampling.quantities",
            "no distribution is given, whose uncertainty it is needs at least one; add [sampling.quantities]",
        )
    for name in scenario.sampling.quantities:
        if name.split(".")[0] in _SETTINGS:
            raise InputError(
                f"{scenario.place}:sampling.quantities.{name}",
                "it is a setting of the calculation, allowed are numbers of the system and of the impact; remove it",
            )
    if scenario.kind_of_impact == "none" and scenario.reshaping is None:
        raise InputError(
            scenario.place, "neither [impactor] nor [velocity_change] is given, so the period does not change; add one"
        )
    runs_for(runs, len(sure(scenario.sampling).quantities) + further)


def period_change(scenario: Scenario, runs: int | None = None, seed: int | None = None) -> Response:
    """The period change, s, as a function of [sampling.quantities].

    Errors: InputError as in check_prediction, ConvergenceError where too few members end well.
    """
    check_prediction(scenario, runs)
    sample = Sample.of(scenario, "sobol", runs_for(runs, len(sure(scenario.sampling).quantities)), seed)
    try:
        check_summary(scenario, sample)
    except InputError:
        change, status = _one_by_one(scenario, sample)
    else:
        change, status = _side_by_side(scenario, sample)
    return response(sample.keys, sample.draws(0, len(sample)), change, status)


def _side_by_side(scenario: Scenario, sample: Sample) -> tuple[np.ndarray, np.ndarray]:
    """Period changes (n,), s, and what became of each member (n,)."""
    block = summary_rows(scenario, sample, np.arange(len(sample)), chaos=True)
    return block.numbers["period_change_s"], _told(block.status, block.numbers)


def _one_by_one(scenario: Scenario, sample: Sample) -> tuple[np.ndarray, np.ndarray]:
    """The same by full predictions, which also tell who is chaotic."""
    status = np.full(len(sample), "error", dtype=_WORDS)
    numbers = {name: np.full(len(sample), np.nan) for name in ("period_change_s", *_IRREGULAR)}
    for row in rows_of(scenario, sample):
        assert isinstance(row, Row), "full rows"
        status[row.index] = row.status
        if row.status == DONE:
            for name, column in numbers.items():
                column[row.index] = row.numbers[name]
    return numbers["period_change_s"], _told(status, numbers)


def _told(status: np.ndarray, numbers: Mapping[str, np.ndarray]) -> np.ndarray:
    """(n,) what became of members, with a word of its own for those that ended well and are not regular."""
    told, well = status.astype(_WORDS), status == DONE
    for flag, word in _IRREGULAR.items():
        told[well & (numbers[flag] == 1)] = word
    return told
