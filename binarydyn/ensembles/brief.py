"""Whole members of which only the outcomes count, hundreds at a time: what a campaign of a million is made of.

A member is what `predict` does without its stored paths: the relaxed and calibrated start, whose mean period is the
one before the impact exactly, by construction; the impact; and the window after it by the splitting, outcomes
accumulated while stepping (cases.py).  A member's bits depend on its inputs alone, not on who is in its block, and are
the same from lanes of the processor and from a GPU.

Not here: perturbations, other estimators than the weighted fit, companions.  Where bodies come too near for a
fixed step, or part, the member is named, and is for `predict`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..constants import HOUR_S
from ..errors import FewCyclesError, InputError
from ..observables.estimates import CYCLES_NEEDED
from ..scenario import Scenario
from .block import Block
from .cases import Cases, Outcomes, accumulated, from_arrays
from .design import Design
from .members import swept
from .pace import steps_of
from .prepared import Struck, Table, prepared

Stepper = Callable[[Cases, float, int], Outcomes]
TURNED_DEG = 90.0


def brief_members(
    scenario: Scenario,
    design: Design,
    members: np.ndarray,
    stepper: Stepper = accumulated,
    finer: float = 1.0,
) -> Block:
    """The outcomes of members (n,) of a design; what happens to a member is in its status, as in a Row.

    stepper(cases, days, steps): cases.accumulated or gpu.accumulated.  finer: times as many steps as usual.  Raises
    InputError where the scenario asks for what is not here.
    """
    check_brief(scenario, design)
    table = Table.of(np.asarray(members, dtype=np.int64))
    days = scenario.simulation.days_after
    for struck in prepared(swept(scenario), design, table):
        _step(table, struck, stepper, days, finer)
    return Block(table.members, table.columns, table.status.astype(np.str_), table.reason.astype(np.str_))


def check_brief(scenario: Scenario, design: Design) -> None:
    """InputError, one sentence, where the scenario asks for more than the brief table can give."""
    why = ""
    if scenario.perturbations.any or any(key.startswith("perturbations.") for key in design.keys):
        why = "perturbations are given, which only single runs follow; remove [perturbations]"
    elif scenario.observation.estimator != "weighted_fit":
        why = f'estimator = "{scenario.observation.estimator}" is given, it has weighted_fit alone; remove it'
    elif scenario.simulation.model_error != "none":
        why = "model_error is asked for, which it does not have; remove it"
    elif any(key.startswith("simulation.") for key in design.keys):
        why = "a key of [simulation] is varied, which decides all members alike; vary another"
    if why:
        raise InputError("--table brief", f"{why}, or choose --table full")


def _step(table: Table, struck: Struck, stepper: Stepper, days: float, finer: float) -> None:
    """The window after the impact, those with the same number of steps side by side."""
    steps = steps_of(struck.y, struck.constants[0], days, finer)
    for count in np.unique(steps).tolist():
        at = np.flatnonzero(steps == count)
        part = from_arrays(
            struck.model, struck.y[:, at], struck.constants[:, at], struck.coefficients[:, at], struck.near_m[at]
        )
        _measure(table, struck.places[at], stepper(part, days, count), days)


def _measure(table: Table, places: np.ndarray, found: Outcomes, days: float) -> None:
    """What the stepped cases say, and how each member ended."""
    columns, period_h = table.columns, found.period_s / HOUR_S
    cycles = abs(days) * 24.0 / period_h
    measured = found.fits & (cycles >= CYCLES_NEEDED)
    values = {
        "period_after_h": np.where(measured, period_h, np.nan),
        "period_change_s": np.where(measured, found.period_s - columns["period_before_h"][places] * HOUR_S, np.nan),
        "separation_min_after_m": found.separation_min_m,
        "separation_max_after_m": found.separation_max_m,
        "long_axis_angle_max_after_deg": found.long_axis_angle_max_deg,
        "tilt_max_after_deg": found.tilt_max_deg,
    }
    for name, column in values.items():
        columns[name][places] = np.where(found.fits, column, np.nan)
    over = (found.long_axis_angle_max_deg > TURNED_DEG) | (found.tilt_max_deg > TURNED_DEG)
    columns["turned_over_after"][places] = np.where(found.fits, over, -1)
    for i in np.flatnonzero(found.fits & ~measured).tolist():
        few = FewCyclesError("weighted_fit", cycles[i], CYCLES_NEEDED, period_h[i])
        table.end(places[i], "not_measured", str(few))
    for i in np.flatnonzero(~found.fits).tolist():
        table.end(places[i], *_unfit(found, i))
    table.end_well(places)


def _unfit(found: Outcomes, i: int) -> tuple[str, str]:
    """Status and reason of a case that the fixed step does not fit."""
    near, far = found.separation_min_m[i], found.separation_max_m[i]
    if np.isfinite(far) and far > near > 0.0 and far > 20.0 * near:
        return "parted", f"the centres part to {far:.4g} m; predict it"
    return "too_near", f"the centres come within {near:.4g} m, too near for a fixed step; predict it"
