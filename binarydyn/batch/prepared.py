"""Members on their way to the window after the impact: inputs, bodies, relaxed start and impact of each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..dynamics import State, System
from ..errors import ConvergenceError, InputError
from ..impact import Impact, hits, impact_on, turns_deg
from ..relaxed.start import Start, start
from ..sampling.design import Design
from ..scenario import Scenario, varied
from ..scenario.wording import one_line
from .inputs import Inputs, doubtful, hits_side_by_side, shares_start, starts_side_by_side, structure_is_allowed
from .starts import before_of, begun_together, repeated, starts_of
from .summary_columns import SummaryColumns

ENDS = {"miss": "miss", "none": "no_impact", "grazing": "grazing"}
"""Of impacts after which a member is not run: the status of its row."""


@dataclass(frozen=True)
class Struck:
    """m pairs of one gravity model just after their impacts, at their places (m,) in the block.

    y (20, m) as State.vector; constants (19, m) and coefficients (c, m) as of motion.parameters; near_m (m,).
    """

    places: np.ndarray
    model: int
    y: np.ndarray
    constants: np.ndarray
    coefficients: np.ndarray
    near_m: np.ndarray


def prepared(base: Scenario, design: Design, table: SummaryColumns, workers: int = 1) -> Iterator[Struck]:
    """All members of the table that get as far as the impact, those with one gravity model together.

    Which members go side by side follows from scenario, design and the member itself, so that each has its bits,
    however many threads, `workers`, relax starts.
    """
    alone = np.ones(len(table.members), dtype=bool)
    shared = begun_together(base) if shares_start(design) else None
    if _side_by_side(base, design, shared):
        inputs = Inputs.of(base, design, table.members)
        alone = doubtful(inputs)
        at = np.flatnonzero(~alone)
        if len(at):
            struck, left = _struck(inputs.some(at), at, table, shared, workers)
            alone[left] = True
            yield struck
    after: dict[int, list[tuple[int, System, State]]] = {}
    for place in np.flatnonzero(alone).tolist():
        if found := by_itself(base, design.member(int(table.members[place])), table, place, shared):
            _note(table, place, *found)
            table.note_before(place, *before_of(found[0]), base.simulation.days_before)
            system, state = found[1].system, found[1].state
            after.setdefault(system.gravity_model, []).append((place, system, state))
    for model, rows in after.items():
        parts = zip(*(system.parameters for _, system, _ in rows), strict=True)
        constants, coefficients = (np.array(c).T for c in parts)
        near = [system.primary.bounding_radius_m + system.secondary.bounding_radius_m for _, system, _ in rows]
        y = np.array([state.vector for _, _, state in rows]).T
        yield Struck(np.array([row[0] for row in rows]), model, y, constants, coefficients, np.array(near))


def _side_by_side(base: Scenario, design: Design, shared: Start | None) -> bool:
    """Whether members of this design are worked out as arrays, as far as their values are not doubtful."""
    if shared is None and (shares_start(design) or not starts_side_by_side(base, design)):
        return False
    return hits_side_by_side(base, design) and structure_is_allowed(base, design)


def _struck(
    inputs: Inputs, places: np.ndarray, table: SummaryColumns, shared: Start | None, workers: int
) -> tuple[Struck, np.ndarray]:
    """Starts and impacts as arrays, and the places of members that did not get through and are to go alone."""
    starts = starts_of(inputs, workers, table.chaos) if shared is None else repeated(shared, inputs.count)
    found = hits(inputs, starts.primary, starts.secondary, starts.y)
    done = starts.found & ~found.unsure
    values = {
        "period_before_h": starts.period_h,
        "separation_before_m": starts.separation_m,
        **dict(zip(("along_track_dv_mm_s", "radial_dv_mm_s", "normal_dv_mm_s"), found.dv_mm_s, strict=True)),
        **turns_deg((starts.primary, starts.secondary, starts.y), (starts.primary, starts.secondary, found.y)),
        "beta": found.beta,
        "incidence_deg": found.incidence_deg,
        "primary_density_kg_m3": starts.primary.density_kg_m3,
        "secondary_density_kg_m3": starts.secondary.density_kg_m3,
        "total_mass_kg": starts.primary.mass_kg + starts.secondary.mass_kg,
        "secondary_mass_kg": starts.secondary.mass_kg,
    }
    for name, value in values.items():
        table.columns[name][places[done]] = value[done]
    for i in np.flatnonzero(done & np.isin(found.status, list(ENDS))).tolist():
        table.end(places[i], ENDS[found.status[i]], found.reason[i])
    table.note_before(places[done], starts.growth[done], starts.spread_s[done], inputs.scenario.simulation.days_before)
    near = starts.primary.bounding_radius_m + starts.secondary.bounding_radius_m
    y, constants, coefficients = (part[:, done] for part in (found.y, starts.constants, starts.coefficients))
    return Struck(places[done], starts.model, y, constants, coefficients, near[done]), places[~done]


def by_itself(
    base: Scenario, inputs: dict[str, float], table: SummaryColumns, place: int, shared: Start | None
) -> tuple[Start, Impact] | None:
    """Start and impact of one member, as `predict` has them; None where it ends there, which its status then says."""
    try:
        scenario = varied(base, inputs)
        begun = shared or start(scenario)
        return begun, impact_on(begun.system, scenario)
    except InputError as error:
        table.end(place, "bad_input", str(error))
    except ConvergenceError as error:
        table.end(place, "not_converged", str(error))
    except Exception as error:
        table.end(place, "error", one_line(f"{type(error).__name__}: {error}"))
    return None


def _note(table: SummaryColumns, place: int, begun: Start, impact: Impact) -> None:
    """What is known before the window; an impact that is none has its status already."""
    system = begun.system
    sides = [
        (one.primary, one.secondary, state.vector)
        for one, state in ((system, system.state), (impact.system, impact.state))
    ]
    values = {
        "period_before_h": begun.period_h,
        "separation_before_m": begun.separation_m,
        "along_track_dv_mm_s": impact.dv_along_track_mm_s,
        "radial_dv_mm_s": impact.dv_radial_mm_s,
        "normal_dv_mm_s": impact.dv_normal_mm_s,
        **turns_deg(*sides),
        "beta": impact.released.beta if impact.released else np.nan,
        "incidence_deg": impact.site.incidence_deg if impact.site else np.nan,
        "primary_density_kg_m3": system.primary.density_kg_m3,
        "secondary_density_kg_m3": system.secondary.density_kg_m3,
        "total_mass_kg": system.mass_kg,
        "secondary_mass_kg": system.secondary.mass_kg,
    }
    for name, value in values.items():
        table.columns[name][place] = value
    if impact.status in ENDS:
        table.end(place, ENDS[impact.status], impact.reason)
