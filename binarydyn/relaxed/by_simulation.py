"""Starts that are more than relaxed: free modes asked for on purpose, or perturbations, calibrated by simulation.

What is asked of the relaxed orbit is corrected until the window before t0 has the period, separation and eccentricity
that the scenario asks for.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..constants import DAY_S
from ..dynamics import State, System, Trajectory, simulate
from ..dynamics.displacement import FREE, displaced
from ..errors import ConvergenceError, InputError
from ..impact import ImpactSpec
from ..observables import averages, orbit_shape, period
from ..observables.orientation import TURNED_DEG, axis_angles_deg, lost_lock
from ..scenario import Scenario
from ..scenario.wording import rounded
from .circular import Wanted
from .free_modes import excited, free_modes, yaw_of
from .periodic import PeriodicOrbit, find
from .perturbations import perturbations_of

PERIOD_TOLERANCE_S = 1e-3
"""To which a calibration by simulation repeats the period; a tenth of what the relaxed state promises."""
_ROUNDS = 20
LOCKED_ORBITS = 100.0
"""For so many before t0, or the window where that is longer, a secondary must face the primary to be synchronous."""
LINEAR_ECCENTRICITY = 0.01
"""Below it a free mode of that amplitude has that eccentricity to 1 %."""


def system_of(orbit: PeriodicOrbit, primary, secondary, scenario: Scenario, degree: int) -> System:
    factor, simulation = orbit.mass_factor, scenario.simulation
    return System(
        primary.scaled_mass(factor),
        secondary.scaled_mass(factor),
        orbit.state,
        degree,
        simulation.tolerance,
        simulation.integrator,
        ImpactSpec.of(scenario),
        perturbations_of(scenario, secondary),
    )


def by_simulation(
    scenario: Scenario, primary, secondary, wanted: Wanted, degree: int
) -> tuple[System, PeriodicOrbit, float]:
    """Relax, add the asked modes, simulate the window before t0 with the perturbations.

    And correct what was asked of the relaxed orbit until it fits: the system, the orbit with the separation and rate
    of the window, and by how many seconds its period is off.
    """
    asked, eccentricity = wanted, scenario.mutual_orbit.eccentricity
    for _ in range(_ROUNDS):
        orbit = find(primary, secondary, degree, asked)
        state = _excited_state(scenario, orbit, eccentricity)
        system = system_of(orbit, primary, secondary, scenario, degree).with_state(state)
        before = simulate(system, -scenario.simulation.days_before, every_minutes=scenario.simulation.sample_minutes)
        if before.status != "completed":
            raise ConvergenceError(
                f"with the free modes and perturbations asked for, the run before t0 ends in {before.status}", 1.0, 1
            )
        _refuse_turning(scenario, before)
        found = 2.0 * math.pi / period(before).value_s
        mean = float(averages.mean(np.linalg.norm(before.position_m, axis=1), averages.squared_hann(before.time_s)))
        rate_ratio = float(wanted.rate_rad_s / found) if wanted.rate_rad_s else 1.0
        separation_ratio = float(wanted.separation_m / mean) if wanted.separation_m else 1.0
        residual_s = abs(rate_ratio - 1.0) * 2.0 * math.pi / found
        shape_ratio = _shape_ratio(scenario, before)
        settled = residual_s < PERIOD_TOLERANCE_S and abs(separation_ratio - 1.0) < 1e-6
        if settled and abs(shape_ratio - 1.0) < 1e-3:
            _refuse_turning(scenario, simulate(system, -LOCKED_ORBITS * 2.0 * math.pi / found / DAY_S))
            return system, replace(orbit, separation_m=mean, rate_rad_s=found), residual_s
        eccentricity *= shape_ratio
        asked = replace(
            asked,
            rate_rad_s=asked.rate_rad_s * rate_ratio if asked.rate_rad_s else None,
            separation_m=asked.separation_m * separation_ratio if asked.separation_m else None,
        )
    sentence = (
        "the period does not settle with the free modes and perturbations asked for, as in chaotic motion; ask for "
        "smaller ones"
    )
    raise ConvergenceError(sentence, residual_s, _ROUNDS)


def _refuse_turning(scenario: Scenario, before: Trajectory) -> None:
    """A secondary that turns over before t0 is not synchronous, whatever its mean rate in a window."""
    days = turned_days(before)
    if days is None:
        return
    asked = {
        "mutual_orbit.eccentricity": scenario.mutual_orbit.eccentricity,
        "secondary.libration_amplitude_deg": scenario.secondary.libration_amplitude_deg,
    }
    given = {name: f"{value:g}" for name, value in asked.items() if value} or {"secondary.spin": "synchronous"}
    first, *others = given
    beside = f" beside {others[0]} = {given[others[0]]}" if others else ""
    raise InputError(
        f"{scenario.place}:{first}",
        f"{given[first]} is given{beside}, but the secondary does not stay synchronous: {rounded(days)} days before t0 "
        f"it has turned over (an axis more than {TURNED_DEG:g} deg off), allowed is what keeps the same side to the "
        "primary; take a smaller eccentricity, libration or perturbation",
    )


def turned_days(before: Trajectory) -> float | None:
    """How long before t0 the secondary has turned over; None where it has not, or is round, so that nothing locks
    it."""
    turned = lost_lock(*axis_angles_deg(before))
    return float(-before.time_s[turned][-1]) / DAY_S if turned.any() else None


def _shape_ratio(scenario: Scenario, before: Trajectory) -> float:
    """By how much the mode's amplitude misses the geometric eccentricity that is asked for.

    Small ones are linear anyway.
    """
    wanted = scenario.mutual_orbit.eccentricity
    return wanted / orbit_shape(before).eccentricity if wanted >= LINEAR_ECCENTRICITY else 1.0


def _excited_state(scenario: Scenario, orbit: PeriodicOrbit, eccentricity: float) -> State:
    """The relaxed state with a free eccentricity e, r = a (1 - e cos f), and a free libration.

    Yaw = A cos(rate t + phase).
    """
    modes = {mode.name: mode for mode in free_modes(orbit)}
    move = np.zeros(FREE)
    amplitude = scenario.secondary.libration_amplitude_deg
    for name, size in (("epicyclic", eccentricity), ("libration", amplitude)):
        if size and name not in modes:
            raise ConvergenceError(f"a free {name} was asked for, but the relaxed state has no such mode", size, 0)
    if eccentricity:
        anomaly = -math.radians(scenario.mutual_orbit.pericentre_deg)
        move += excited(orbit, modes["epicyclic"], modes["epicyclic"].shape[0], -eccentricity, anomaly)
    if amplitude:
        mode, phase = modes["libration"], math.radians(scenario.secondary.libration_phase_deg)
        move += excited(orbit, mode, yaw_of(mode.shape), math.radians(amplitude), phase)
    return State.from_vector(displaced(orbit.state.vector, move))
