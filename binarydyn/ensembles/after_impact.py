"""Windows after an impact by the thousand: periods, and whether each run is regular, from runs in fast lanes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..assessment.relation_runs import side_by_side
from ..assessment.trust import is_regular
from ..dynamics import State, System
from .cases import cases
from .companions import with_companions


def in_lanes(systems: Sequence[System], states: Sequence[State], days: float) -> tuple[np.ndarray, np.ndarray]:
    """Periods (n,), s, after states at t0, NaN where a run ends early, and whether each run is regular (n,).

    Ends early: the bodies touch, come too near for the fixed step, or part.  Regular: they do not, and the run is one
    that can be foretold (assessment.trust.is_regular).  Systems with perturbations, which lanes cannot follow, are
    simulated one by one, with companions and by the same definition.
    """
    if any(system.perturbations for system in systems):
        return side_by_side(systems, states, days)
    periods, regular = np.full(len(systems), np.nan), np.zeros(len(systems), dtype=bool)
    numbers = [system.gravity_model for system in systems]
    for number in dict.fromkeys(numbers):
        chosen = [k for k, other in enumerate(numbers) if other == number]
        found, beside = with_companions(cases([systems[k] for k in chosen], [states[k] for k in chosen]), days)
        periods[chosen] = np.where(found.fits, found.period_s, np.nan)
        angles = found.long_axis_angle_max_deg, found.tilt_max_deg
        regular[chosen] = found.fits & is_regular(*angles, beside.growth, days)
    return periods, regular
