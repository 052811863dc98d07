"""Windows after an impact by the thousand: periods, and whether each run is regular, from runs in fast lanes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..dynamics import State, System
from ..errors import FewCyclesError, InputError
from ..integrators.propagate import MAX_STEPS
from ..observables import period
from ..observables.chaos import covered_days, is_regular, simulate_with_neighbours
from ..observables.orientation import axis_angles_deg
from .cases import cases
from .chaos import with_neighbours

_SAMPLE_MINUTES = 20.0


def periods_after(systems: Sequence[System], states: Sequence[State], days: float) -> tuple[np.ndarray, np.ndarray]:
    """Periods (n,), s, after states at t0, NaN where a run ends early, and whether each run is regular (n,).

    Ends early: the bodies touch, come too near for the fixed step, or part.  Regular: they do not, and the run is one
    that can be predicted (observables.chaos.is_regular).  Systems with perturbations, which lanes cannot follow, are
    simulated one by one, with neighbouring trajectories and by the same definition.
    """
    if any(system.perturbations for system in systems):
        return one_by_one(systems, states, days)
    periods, regular = np.full(len(systems), np.nan), np.zeros(len(systems), dtype=bool)
    numbers = [system.gravity_model for system in systems]
    for number in dict.fromkeys(numbers):
        chosen = [k for k, other in enumerate(numbers) if other == number]
        found, beside = with_neighbours(cases([systems[k] for k in chosen], [states[k] for k in chosen]), days)
        periods[chosen] = np.where(found.fits, found.period_s, np.nan)
        angles = found.long_axis_misalignment_max_deg, found.pole_tilt_max_deg
        regular[chosen] = found.fits & is_regular(*angles, beside.growth, days)
    return periods, regular


def one_by_one(systems: Sequence[System], states: Sequence[State], days: float) -> tuple[np.ndarray, np.ndarray]:
    """Each with its neighbouring trajectories, one after the other; regular is what is_regular says of those that end
    as `completed`."""
    periods, regular = np.full(len(systems), np.nan), np.zeros(len(systems), dtype=bool)
    for k, (system, state) in enumerate(zip(systems, states, strict=True)):
        run, chaos = simulate_with_neighbours(system, days, state, _SAMPLE_MINUTES, MAX_STEPS)
        try:
            if run.status == "completed":
                periods[k] = period(run).value_s
                long_axis, tilt = (float(angle.max()) for angle in axis_angles_deg(run))
                regular[k] = is_regular(long_axis, tilt, chaos.at_end, covered_days(days))
        except (FewCyclesError, InputError):
            continue
    return periods, regular
