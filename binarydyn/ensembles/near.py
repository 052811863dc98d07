"""Members too near, parting or eccentric for a fixed step: run again by the adaptive method, and named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..assessment.trust import simulate_with_companions
from ..constants import DAY_S
from ..dynamics import Trajectory, simulate_many
from ..errors import FewCyclesError, InputError
from ..observables import period
from ..observables.orientation import orbiting_frame, rotations
from ..scenario import Scenario
from .design import Design
from .inputs import shares_start
from .prepared import by_itself
from .starts import begun_together
from .table import Table


def followed(base: Scenario, design: Design, table: Table, places: np.ndarray, companions: bool) -> None:
    """The members at these places of a table: contact, escape, or numbers as they should be."""
    if not len(places):
        return
    shared, simulation = begun_together(base) if shares_start(design) else None, base.simulation
    members = [design.member(int(k)) for k in table.members[places]]
    tried = [by_itself(base, inputs, table, place, shared) for inputs, place in zip(members, places, strict=True)]
    places, impacts = places[[found is not None for found in tried]], [found[1] for found in tried if found]
    systems = [replace(impact.system, integrator="rungekutta") for impact in impacts]
    states, how = [impact.state for impact in impacts], (simulation.sample_minutes, simulation.max_steps)
    if companions:
        pairs = zip(systems, states, strict=True)
        told = [simulate_with_companions(one, simulation.days_after, state, *how) for one, state in pairs]
        runs = [run for run, _ in told]
        growth, unstable = (np.array([getattr(t, name) for _, t in told]) for name in ("amplification", "unstable"))
        table.note_growth(places, growth, unstable)
    else:
        runs = simulate_many(systems, simulation.days_after, states, *how)
    for place, run in zip(places.tolist(), runs, strict=True):
        _note(table, place, run)


def _note(table: Table, place: int, run: Trajectory) -> None:
    """Numbers and end of one member, as `predict` would tell them."""
    found = np.nan
    try:
        found = period(run).value_h
    except (FewCyclesError, InputError) as error:
        if run.status == "done":
            table.end(place, "not_measured", str(error))
    if run.status != "done":
        if table.status[place] == "grazing":
            table.status[place] = ""  # as `predict`, which tells the end first
        table.end(place, run.status, f"{run.status} {abs(run.time_s[-1]) / DAY_S:.3f} days from the impact")
    distance = np.linalg.norm(run.position_m, axis=1)
    columns = (found, distance.min(), distance.max(), *_angles(run))
    at = np.array([place])
    table.note_window(at, *(np.array([value]) for value in columns))
    table.end_well(at)


def _angles(run: Trajectory) -> tuple[float, float]:
    """Greatest angles, deg, of the long axis from the line of centres and of the short axis from the orbit normal."""
    orbiting, body = orbiting_frame(run.position_m, run.velocity_m_s), rotations(run.attitude2)
    facing = np.einsum("ki,ki->k", orbiting[:, :, 0], body[:, :, 0])
    upright = np.einsum("ki,ki->k", orbiting[:, :, 2], body[:, :, 2])
    least = np.array([facing.min(), upright.min()])  # x of a relaxed moonlet points at the primary
    return tuple(np.degrees(np.arccos(np.clip(least, -1.0, 1.0))).tolist())
