"""Whole members of which only the outcomes count, hundreds at a time: what a campaign of a million is made of.

A member is what `predict` does without its stored paths: the relaxed and calibrated start, whose mean period is the
one before the impact exactly, by construction; the impact; and the window after it by the splitting, outcomes
accumulated while stepping (cases.py).  A member's bits depend on its inputs alone, not on who is in its block, and are
the same from lanes of the processor and from a GPU.  Where bodies come too near for a fixed step, or part, or the
orbit gets eccentric, the member runs again by the adaptive method (near.py).

Errors of the period change against the adaptive method at 1e-13, 153 regular ones of 200 random impacts on the built-in
pair (experiments/16): 4e-4 s median, 5e-3 s at most; TIGHT 7e-7 s and 1e-5 s.  The period of a chaotic member is no
better known than the spread over it and its neighbouring trajectories, seconds to minutes, by this method as by any:
neighbouring trajectories tell both.  Not here: perturbations, other estimators than the weighted fit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from ..errors import ArgumentError, FewCyclesError, InputError
from ..kinds import shape, takes
from ..observables.chaos import is_chaotic
from ..observables.estimates import CYCLES_NEEDED
from ..sampling.block import Block
from ..sampling.design import Design
from ..sampling.listed import check_design
from ..sampling.members import swept
from ..scenario import Scenario
from .adaptive import followed
from .cases import Cases, Outcomes, accumulated, from_arrays
from .chaos import Beside, with_neighbours
from .prepared import Struck, SummaryColumns, prepared

Stepper = Callable[[Cases, float, int | np.ndarray], Outcomes]
LARGEST_RATIO = 1.3
"""Of the separations of a member that keeps the fixed step, an eccentricity of 0.13; others run by the adaptive method.

Two members of e = 0.24 and 0.34 erred by 2.1 and 1.2 s in ten days before.
"""
TIGHT = 4.0
"""`refine` that brings the splitting's error of a period below 1e-4 s; it takes four times the steps."""


@dataclass(frozen=True)
class SummaryOptions:
    """How the members of a summary table are computed; see summary_rows."""

    refine: float = 1.0
    chaos: bool = False

    @property
    def words(self) -> str:
        """What decides the rows, for a file."""
        return f"{self.refine!r} times the usual steps, {'with' if self.chaos else 'without'} neighbouring trajectories"


def block_of(base: Scenario, design: Design, members: Sequence[int], how: SummaryOptions, stepper: Stepper) -> Block:
    """As summary_rows, with what a backend passes on."""
    return summary_rows(base, design, np.array(members, dtype=np.int64), stepper, how.refine, how.chaos)


@takes(scenario="Scenario", members=shape(None))
def summary_rows(
    scenario: Scenario,
    design: Design,
    members: np.ndarray,
    stepper: Stepper = accumulated,
    refine: float = 1.0,
    chaos: bool = False,
    workers: int = 1,
) -> Block:
    """The outcomes of members (n,) of a design; what happens to a member is in its status, as in a Row.

    stepper(cases, days, steps): cases.accumulated or gpu.accumulated.  refine: times as many steps as usual.
    chaos: four more runs each say which members are chaotic (companions.py).  workers: threads that relax starts,
    for large blocks beside a GPU; threads of the stepper are its own.  Raises InputError where the
    scenario asks for what is not here.
    """
    check_design("summary_rows(design)", design)
    check_summary(scenario, design)
    if any(not 0 <= k < len(design) for k in (np.min(members), np.max(members)) if len(members)):
        raise InputError(
            "summary_rows(members)", f"allowed are 0 .. {len(design) - 1}, others are given; leave them out"
        )
    table = SummaryColumns.of(np.asarray(members, dtype=np.int64), chaos)
    base, days = swept(scenario), scenario.simulation.days_after
    unfit = [_step(table, struck, stepper, days, refine, chaos) for struck in prepared(base, design, table, workers)]
    followed(base, design, table, np.concatenate([np.empty(0, dtype=np.int64), *unfit]), chaos)
    # Reasons as objects: one long sentence would make every row of a large block as wide.
    return Block(table.members, table.columns, table.status.astype(np.str_), table.reason)


def check_summary(scenario: Scenario, design: Design) -> None:
    """InputError, one sentence, where the scenario asks for more than the summary table can give."""
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
        raise ArgumentError("table", f"{why}, or choose the full table", "summary")


def _step(
    table: SummaryColumns, struck: Struck, stepper: Stepper, days: float, refine: float, chaos: bool
) -> np.ndarray:
    """The window after the impact, by each member's own number of steps; the places of unfit members."""
    given = from_arrays(struck.model, struck.y, struck.constants, struck.coefficients, struck.near_m)
    steps, beside = given.steps(days, refine), None
    if chaos:
        found, beside = with_neighbours(given, days, steps, stepper)
    else:
        found = stepper(given, days, steps)
    _measure(table, struck.places, found, beside, days)
    return struck.places[~found.fits | _is_eccentric(found)]


def _is_eccentric(found: Outcomes) -> np.ndarray:
    """(n,) whether a fixed step, set by the orbit's mean rate, is too long for the pericentre: then errors reach
    seconds.
    """
    return found.separation_max_m > LARGEST_RATIO * found.separation_min_m


def _measure(table: SummaryColumns, places: np.ndarray, found: Outcomes, beside: Beside | None, days: float) -> None:
    """What the stepped cases say, and that a member ended well or its window was too short."""
    period_h, fit = found.period_s / HOUR_S, np.flatnonzero(found.fits & ~_is_eccentric(found))
    for i in fit.tolist():
        cycles = abs(days) * 24.0 / period_h[i]
        if cycles < CYCLES_NEEDED:
            few = FewCyclesError("weighted_fit", cycles, CYCLES_NEEDED, period_h[i])
            table.end(places[i], "not_measured", str(few))
            period_h[i] = np.nan
    table.note_window(
        places[fit],
        period_h[fit],
        found.separation_min_m[fit],
        found.separation_max_m[fit],
        found.long_axis_misalignment_max_deg[fit],
        found.pole_tilt_max_deg[fit],
    )
    if beside is not None:
        growth = beside.growth[fit]
        table.note_growth(places[fit], growth, is_chaotic(growth, days), beside.period_spread_s[fit])
    table.end_well(places[fit])
