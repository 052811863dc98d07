"""Members too near, parting or eccentric for a fixed step: run again by the adaptive method, and named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..constants import DAY_S
from ..dynamics import Trajectory, simulate_many
from ..errors import FewCyclesError, InputError
from ..observables import period
from ..observables.chaos import covered_days, is_chaotic, simulate_with_neighbours
from ..observables.orientation import axis_angles_deg
from ..sampling.design import Design
from ..scenario import Scenario
from .inputs import shares_start
from .prepared import by_itself
from .starts import begun_together
from .summary_columns import SummaryColumns


def followed(base: Scenario, design: Design, table: SummaryColumns, places: np.ndarray, chaos: bool) -> None:
    """The members at these places of a table: contact, escape, or numbers as they should be."""
    if not len(places):
        return
    shared, simulation = begun_together(base) if shares_start(design) else None, base.simulation
    members = [design.member(int(k)) for k in table.members[places]]
    tried = [by_itself(base, inputs, table, place, shared) for inputs, place in zip(members, places, strict=True)]
    places, impacts = places[[found is not None for found in tried]], [found[1] for found in tried if found]
    systems = [replace(impact.system, integrator="rungekutta") for impact in impacts]
    states, how = [impact.state for impact in impacts], (simulation.sample_minutes, simulation.max_steps)
    if chaos:
        pairs = zip(systems, states, strict=True)
        told = [simulate_with_neighbours(one, simulation.days_after, state, *how) for one, state in pairs]
        runs = [run for run, _ in told]
        growth = np.array([chaos.at_end for _, chaos in told])
        spread_s = np.array([chaos.period_spread_s for _, chaos in told], dtype=float)
        table.note_growth(places, growth, is_chaotic(growth, covered_days(simulation.days_after)), spread_s)
    else:
        runs = simulate_many(systems, simulation.days_after, states, *how)
    for place, run in zip(places.tolist(), runs, strict=True):
        _note(table, place, run)


def _note(table: SummaryColumns, place: int, run: Trajectory) -> None:
    """Numbers and end of one member, as `predict` would tell them."""
    found = np.nan
    try:
        found = period(run).value_h
    except (FewCyclesError, InputError) as error:
        if run.status == "completed":
            table.end(place, "not_measured", str(error))
    if run.status != "completed":
        if table.status[place] == "grazing":
            table.status[place] = ""  # as `predict`, which tells the end first
        table.end(place, run.status, f"{run.status} {abs(run.time_s[-1]) / DAY_S:.3f} days from the impact")
    distance = np.linalg.norm(run.position_m, axis=1)
    columns = (found, distance.min(), distance.max(), *(angle.max() for angle in axis_angles_deg(run)))
    at = np.array([place])
    table.note_window(at, *(np.array([value]) for value in columns))
    table.end_well(at)
