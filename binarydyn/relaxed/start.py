"""From a scenario to a system: the two bodies, and the relaxed and calibrated state at t0.

Calibration changes the one quantity that the scenario leaves open until the orbit's mean sidereal period, which the
relaxed orbit has exactly, is the measured one at the measured time-mean separation.  A free eccentricity or libration
asked for on purpose is added as a mode, and the open quantity then adjusted by simulation of the window before t0; so
it is where perturbations are on.  The relaxed state itself knows none of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S, G
from ..dynamics import System
from ..errors import InputError
from ..kinds import takes
from ..motion.state import flattening_m2
from ..observables.chaos import TWIST_RAD, Chaos, by_seconds, covered_days, simulate_with_neighbours
from ..scenario import Scenario
from ..scenario.tables.bodies import DENSITY_KG_M3
from .asked import is_relaxed, wanted_of
from .bodies import bodies, refuse_overlap
from .by_simulation import by_simulation, system_of
from .circular import Wanted, third_law
from .degree import chosen_degree
from .free_modes import Mode, free_modes
from .growth_by_map import chaos_of_relaxed
from .periodic import PeriodicOrbit, find
from .perturbations import perturbation_warnings

CALIBRATION_SURPRISE = 0.2
"""Departure of the mass factor from 1 that is worth a warning.

Beyond what densities are usually known to (common practice).
"""


@dataclass(frozen=True)
class Start:
    """A system ready to run, and what relaxation and calibration found.

    mass_factor multiplies the masses that the scenario states; residual is the relative change of the state over one
    turn of the primary, seen from the secondary; period_residual_s the difference to the period asked for.  trust: how
    fast neighbouring trajectories diverge in the window before t0.
    """

    system: System
    solved_for: str
    mass_factor: float
    separation_m: float
    period_h: float
    residual: float
    newton_steps: int
    period_residual_s: float
    modes: tuple[Mode, ...]
    chaos: Chaos
    warnings: tuple[str, ...]

    def mode(self, name: str) -> Mode | None:
        """The fastest free mode of that name; None where the relaxed state has none."""
        return next((mode for mode in self.modes if mode.name == name), None)


@takes(scenario="Scenario")
def build(scenario: Scenario) -> System:
    """The two bodies of a scenario and their relaxed, calibrated state at t0, which is to be hit as the scenario says.

    Raises InputError for a system that overlaps or a mesh that is no solid, ConvergenceError where no relaxed state is
    found.

    >>> import binarydyn as bd
    >>> bd.build(bd.example())
    <System ellipsoid 271x262x246 m + ellipsoid 70x61.5x48 m, 821.05 m apart; degree 4, rungekutta>
    """
    return start(scenario).system


@takes(scenario="Scenario")
def start(scenario: Scenario) -> Start:
    """Build, relax and calibrate; see Start."""
    primary, secondary = bodies(scenario)
    place, phase_deg = f"{scenario.place}:mutual_orbit.separation_m", scenario.primary.rotation_phase_deg
    refuse_overlap(place, primary, secondary, scenario.mutual_orbit.separation_m, phase_deg)
    wanted = wanted_of(scenario)
    degree, warnings = _degree(scenario, primary, secondary, wanted)
    relaxed = find(primary, secondary, degree, wanted)
    refuse_overlap(place, primary, secondary, relaxed.separation_m, phase_deg)
    warnings += calibration_warnings(place, relaxed.mass_factor, primary, secondary)
    system, residual_s = system_of(relaxed, primary, secondary, scenario, degree), 0.0
    if not system.perturbations and is_relaxed(scenario):
        chaos = chaos_of_relaxed(relaxed, -scenario.simulation.days_before)
        chaos = _chaos(scenario, system) if chaos.chaotic else chaos
    else:
        system, relaxed, residual_s = by_simulation(scenario, primary, secondary, wanted, degree)
        chaos = _chaos(scenario, system)
    return _report(scenario, system, relaxed, residual_s, chaos, warnings)


def calibration_warnings(place: str, factor: float, primary, secondary) -> tuple[str, ...]:
    """Refuse densities that no asteroid has, as a wrong unit of a mesh makes them.

    Say it where the inputs disagree much.
    """
    densities = [factor * body.density_kg_m3 for body in (primary, secondary)]
    low, high = DENSITY_KG_M3
    if not all(low <= density <= high for density in densities):
        raise InputError(
            place,
            f"separation and period ask for densities of {densities[0]:.4g} and {densities[1]:.4g} kg/m3, allowed is "
            f"{low:g} .. {high:g}; check period_h, separation_m, the sizes and the unit of a mesh",
        )
    if abs(factor - 1.0) < CALIBRATION_SURPRISE:
        return ()
    return (f"calibration multiplied the masses by {factor:.3g}: the stated masses, separation and period disagree",)


def _degree(scenario: Scenario, primary, secondary, wanted: Wanted) -> tuple[int, tuple[str, ...]]:
    """The degree that is asked for, or the one that `auto` stands for, with a warning where none is enough."""
    simulation = scenario.simulation
    if isinstance(simulation.degree, int):
        return simulation.degree, ()
    gm = G * (primary.mass_kg + secondary.mass_kg)
    _, separation_m, _ = third_law(gm, flattening_m2(primary, secondary), wanted)
    return chosen_degree(primary, secondary, separation_m, simulation.degree_accuracy)


def _report(
    scenario: Scenario,
    system: System,
    orbit: PeriodicOrbit,
    period_residual_s: float,
    chaos: Chaos,
    warnings: tuple[str, ...],
) -> Start:
    modes = tuple(free_modes(orbit))
    growing = [mode for mode in modes if not mode.stable and mode.growth_per_orbit > 1.0]
    return Start(
        system=system,
        solved_for=scenario.mutual_orbit.solve_for,
        mass_factor=orbit.mass_factor,
        separation_m=orbit.separation_m,
        period_h=2.0 * math.pi / orbit.rate_rad_s / HOUR_S,
        residual=orbit.residual,
        newton_steps=orbit.steps,
        period_residual_s=period_residual_s,
        modes=modes,
        chaos=chaos,
        warnings=tuple(
            f"the relaxed state is unstable: its {m.name} mode grows {m.growth_per_orbit:.3g} times an orbit"
            for m in growing
        )
        + _chaos_warnings(chaos, scenario.simulation.days_before)
        + _range_warnings(system)
        + perturbation_warnings(system, orbit.separation_m, scenario.simulation.days_before)
        + warnings,
    )


def _chaos(scenario: Scenario, system: System) -> Chaos:
    """Of the window before t0, by neighbouring trajectories."""
    how = scenario.simulation
    return simulate_with_neighbours(system, -how.days_before, system.state, how.sample_minutes, how.max_steps)[1]


def _chaos_warnings(chaos: Chaos, days: float) -> tuple[str, ...]:
    if not chaos.chaotic:
        return ()
    return (
        f"the motion before t0 is chaotic: a neighbouring trajectory, {TWIST_RAD:g} rad beside it at t0, diverges by a "
        f"factor of {chaos.divergence_factor:.3g} in the {covered_days(days):g} days before, so the secondary's "
        f"attitude "
        f"then, and the period before{by_seconds(chaos)}, depend on more than can be known",
    )


def _range_warnings(system: System) -> tuple[str, ...]:
    reach = system.primary.bounding_radius_m + system.secondary.bounding_radius_m
    distance = float(np.linalg.norm(system.state.position_m))
    if distance > reach:
        return ()
    return (
        f"the circumscribed spheres overlap ({distance:.4g} m apart, {reach:.4g} m needed): "
        "the expansion of gravity may not converge",
    )
