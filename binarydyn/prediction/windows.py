"""The two windows of a prediction, before t0 and after it: each run, and what is seen of it.

The one before t0 is kept for those that share it: members of a sweep that differ in the impact alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from ..dynamics import System, Trajectory, simulate
from ..errors import FewCyclesError, InputError
from ..impact import Impact, ImpactSpec
from ..observables import AttitudeHistory, Estimate, OrbitShape, attitude, orbit_shape, period, single_orbit_periods
from ..relaxed.asked import StartKey
from ..relaxed.start import Start, start
from ..scenario import Scenario

Progress = Callable[[str, float], None]


@dataclass(frozen=True, eq=False, repr=False)
class Side(Trajectory):
    """One window, before or after t0, and what is seen of it.

    Where the run ended early, what could not be measured is None.
    """

    period: Estimate | None
    shape: OrbitShape | None
    attitude: AttitudeHistory | None
    single_orbit_periods_s: np.ndarray
    warnings: tuple[str, ...]


def before_impact(scenario: Scenario, progress: Progress | None) -> tuple[Start, Side]:
    """Start and window before t0; members of a sweep that differ only in the impact share them.

    What is to hit the system is the scenario's own.
    """
    begun, before = _before_of(_BeforeKey(scenario, progress))
    return replace(begun, system=replace(begun.system, impact=ImpactSpec.of(scenario))), before


class _BeforeKey(StartKey):
    """A scenario as far as it decides what happens before the impact."""

    def __init__(self, scenario: Scenario, progress: Progress | None):
        super().__init__(scenario, "observation")
        self.progress = progress


@lru_cache(maxsize=8)
def _before_of(key: _BeforeKey) -> tuple[Start, Side]:
    scenario = key.scenario
    begun = start(scenario)
    days = -scenario.simulation.days_before
    return begun, _side(begun.system, begun.system.state, days, scenario, "before the impact", key.progress)


def _side(system: System, state, days: float, scenario: Scenario, stage: str, progress: Progress | None) -> Side:
    """Run one window, with the integrator that the scenario names, and measure it."""
    watch = (lambda share: progress(stage, share)) if progress else None
    run = simulate(system, days, state=state, progress=watch, **scenario.simulation.run_options)
    return side_of(run, scenario.observation.estimator)


def fit_error_s(before: Side, after: Side) -> float | None:
    """Error of the fits of both periods; None where one could not be measured."""
    if before.period is None or after.period is None:
        return None
    return float(np.hypot(before.period.sigma_s, after.period.sigma_s))


def periods_s(scenario: Scenario, system: System, hit: Impact) -> tuple[float, float]:
    """Periods before t0 and after an impact, as `predict` measures them, without the rest of a Side.

    FewCyclesError or InputError where there is none.
    """
    simulation, method = scenario.simulation, scenario.observation.estimator
    sides = (system, -simulation.days_before, None), (hit.system, simulation.days_after, hit.state)
    before, after = (
        period(simulate(one, days, state=state, **simulation.run_options), method).value_s for one, days, state in sides
    )
    return before, after


def side_of(trajectory: Trajectory, estimator: str) -> Side:
    """What is seen of one window; a run that ended too early for a period says so in a warning."""
    warnings: list[str] = []
    value = shape = history = None
    cycles = np.empty(0)
    try:
        value = period(trajectory, estimator)
        cycles = single_orbit_periods(trajectory)
        shape = orbit_shape(trajectory)
        warnings += shape.warnings
        history = attitude(trajectory)
    except (FewCyclesError, InputError) as error:
        warnings.append(str(error))
    seen: dict[str, Any] = {"period": value, "shape": shape, "attitude": history, "single_orbit_periods_s": cycles}
    return Side(**trajectory.parts, **seen, warnings=tuple(warnings))
