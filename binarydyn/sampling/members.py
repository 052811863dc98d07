"""What if: the members of a design, each of which gives one row, whatever becomes of it.

A row depends on its member alone, not on where it is computed, the order or what was done before, and equals
`predict(member_scenario(scenario, inputs)).numbers()` bit for bit.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass

from ..constants import DAY_S
from ..errors import BinarydynError, ConvergenceError, FewCyclesError, InputError
from ..kinds import takes
from ..prediction import Prediction, predict
from ..scenario import Scenario, varied
from ..scenario.wording import one_line
from .design import Design
from .member_set import MemberSet

TOLERANCE = 1e-9
"""Of the integrator in a sweep, unless the scenario states one; predict's own is 1e-12."""
DECIDE_THE_IMPACT = ("impactor", "momentum_transfer", "boulders", "velocity_change", "mass_exchange", "reshaping")
_FAILURES: dict[type[BinarydynError], str] = {
    InputError: "bad_input",
    ConvergenceError: "not_converged",
    FewCyclesError: "too_few_cycles",
}
_NAMED = tuple(_FAILURES)


@dataclass(frozen=True)
class Row:
    """What became of one member: what it changed, and the flat table of `Prediction.numbers`, empty if there was none.

    status: `Prediction.status`; `not_measured` where the run ended well but its window was too short for a period;
    `bad_input`, `not_converged`, `too_few_cycles` or `error` where there is no prediction.  reason: empty for
    `completed`.
    """

    index: int
    inputs: dict[str, float]
    numbers: dict[str, float | str | bool | None]
    status: str
    reason: str


@takes(scenario="Scenario")
def swept(scenario: Scenario) -> Scenario:
    """The scenario that a sweep varies: with the tolerance of sweeps, unless it states its own."""
    if "tolerance" in scenario.simulation.model_fields_set:
        return scenario
    return varied(scenario, {"simulation.tolerance": TOLERANCE})


@takes(scenario="Scenario", inputs=Mapping)
def member_scenario(scenario: Scenario, inputs: dict[str, float]) -> Scenario:
    """What the member with these inputs is predicted from.  Raises InputError for a value that is not allowed."""
    return varied(swept(scenario), inputs)


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def in_groups(design: Design, done: Collection[int]) -> Iterator[Iterator[int]]:
    """Members to do, those together that differ in the impact alone: predict has their common part in its cache."""
    is_done = MemberSet(len(design), done).mask
    for members in design.together(tuple(key for key in design.keys if key.split(".")[0] not in DECIDE_THE_IMPACT)):
        yield (int(k) for k in members if not is_done[k])


def to_do(design: Design, done: Collection[int]) -> Iterator[int]:
    """Members that are not in `done`, in their order."""
    left = MemberSet(len(design), done)
    left.mask = ~left.mask
    return iter(left)


class Stopped(Exception):
    """Raised inside a member that nobody waits for any more."""


def row_of(base: Scenario, design: Design, k: int, watch: Callable[[str, float], None] | None = None) -> Row:
    """One member from start to end; nothing that goes wrong in it may end the sweep.

    base: as `swept` gives it.  `watch` is told how far it is and may raise Stopped, which alone goes on up.
    """
    inputs = design.member(k)
    try:
        prediction = predict(varied(base, inputs), progress=watch)
        status, reason = _outcome(prediction)
        return Row(k, inputs, prediction.numbers(), status, reason)
    except Stopped:
        raise
    except _NAMED as error:
        status = next(word for kind, word in _FAILURES.items() if isinstance(error, kind))
        return Row(k, inputs, {}, status, str(error))
    except Exception as error:
        return Row(k, inputs, {}, "error", one_line(f"{type(error).__name__}: {error}"))


def died(design: Design, k: int) -> Row:
    """The row of a member that ends each process that computes it."""
    reason = "the process that computed it died each time; see what predict says of this member alone"
    return Row(k, design.member(k), {}, "error", reason)


def _outcome(prediction: Prediction) -> tuple[str, str]:
    """Status and reason of a member that was predicted."""
    status = prediction.status
    if status == "completed":
        if prediction.period_change_s is not None:
            return status, ""
        short = (side for side in (prediction.before, prediction.after) if side.period is None)
        return "not_measured", "; ".join(sentence for side in short for sentence in side.warnings)
    if status in ("miss", "grazing", "no_impact"):
        return status, prediction.impact.reason
    run = prediction.before if status.endswith("_before") else prediction.after
    days = max(abs(run.time_s[0]), abs(run.time_s[-1])) / DAY_S
    return status, f"{run.status} {days:.3f} days from the impact"
