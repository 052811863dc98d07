"""From a scenario to a system: the two bodies, and the relaxed and calibrated state at t0.

Calibration changes the one quantity that the scenario leaves open until the orbit's mean sidereal period, which the
relaxed orbit has exactly, is the measured one at the measured time-mean separation.  A free eccentricity or libration
asked for on purpose is added as a mode, and the open quantity then adjusted by simulation of the window before t0; so
it is where perturbations are on.  The relaxed state itself knows none of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..bodies import Ellipsoid, Inclusion, Layered, Polyhedron
from ..constants import DAY_S, HOUR_S, G
from ..dynamics import State, System, Trajectory, simulate
from ..dynamics.displacement import displaced
from ..errors import ConvergenceError, InputError
from ..impact import ImpactSpec
from ..integrators.rungekutta import apart
from ..kinds import takes
from ..motion.state import flattening_m2
from ..observables import averages, orbit_shape, period
from ..observables.chaos import TWIST_RAD, Trust, by_seconds, covered_days, simulate_with_companions
from ..observables.orientation import TURNED_DEG, axis_angles_deg, turned_over
from ..scenario import Scenario
from ..scenario.tables.bodies import DENSITY_KG_M3
from ..scenario.wording import rounded
from .degree import chosen_degree
from .free_modes import Mode, excited, free_modes
from .growth_by_map import trust_of_relaxed
from .periodic import PeriodicOrbit, Wanted, find, third_law
from .perturbations import perturbation_warnings, perturbations_of

Body = Ellipsoid | Polyhedron | Layered
PERIOD_TOLERANCE_S = 1e-3
"""To which a calibration by simulation repeats the period; a tenth of what the relaxed state promises."""
_ROUNDS = 20
LOCKED_ORBITS = 100.0
"""For so many before t0, or the window where that is longer, a moonlet must face the primary to be synchronous."""
LINEAR_ECCENTRICITY = 0.01
"""Below it a free mode of that amplitude has that eccentricity to 1 %."""
CALIBRATION_SURPRISE = 0.2
"""Departure of the mass factor from 1 that is worth a warning.

Beyond what densities are usually known to (common practice).
"""


@dataclass(frozen=True)
class Start:
    """A system ready to run, and what relaxation and calibration found.

    mass_factor multiplies the masses that the scenario states; residual is the relative change of the state over one
    turn of the primary, seen from the moonlet; period_residual_s the difference to the period asked for.  trust: how
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
    trust: Trust
    warnings: tuple[str, ...]

    def mode(self, name: str) -> Mode | None:
        """The fastest free mode of that name; None where the relaxed state has none."""
        return next((mode for mode in self.modes if mode.name == name), None)


@takes(scenario="Scenario")
def build(scenario: Scenario) -> System:
    """The two bodies of a scenario and their relaxed, calibrated state at t0.

    Raises InputError for a pair that overlaps or a mesh that is no solid, ConvergenceError where no relaxed state is
    found.
    """
    return start(scenario).system


def bodies(scenario: Scenario) -> tuple[Body, Body]:
    """Primary and secondary with the masses that the scenario states."""
    return _body(scenario, "primary"), _body(scenario, "secondary")


def _body(scenario: Scenario, name: str) -> Body:
    table = getattr(scenario, name)
    if not table.inclusions:
        return _homogeneous(table, table.density_kg_m3, table.mass_kg)
    outer = _homogeneous(table, table.density_kg_m3 or 1.0, None)
    try:
        parts = tuple(
            Inclusion.along_axes(part.semi_axes_m, part.density_kg_m3, part.centre_m) for part in table.inclusions
        )
        return Layered(outer, parts) if table.mass_kg is None else Layered.of_mass(outer, parts, table.mass_kg)
    except InputError as error:
        raise InputError(f"{scenario.place}:{name}.{error.place}", error.sentence) from None


def _homogeneous(table, density_kg_m3: float | None, mass_kg: float | None) -> Ellipsoid | Polyhedron:
    if table.polyhedron is not None:
        mesh = table.polyhedron
        return Polyhedron.read(mesh.path, mesh.unit, density_kg_m3=density_kg_m3, mass_kg=mass_kg)
    if mass_kg is not None:
        return Ellipsoid.of_mass(table.semi_axes_m, mass_kg)
    return Ellipsoid(table.semi_axes_m, density_kg_m3)


def wanted_of(scenario: Scenario, number: Callable[[str], Any] | None = None) -> Wanted:
    """What the relaxed state must have; `number` gives that of a dotted key, or (m,) of them, else the scenario does.

    What calibration finds is left open.
    """
    number, unknown = number or scenario.__getitem__, scenario.mutual_orbit.unknown
    period_h = None if unknown == "period_h" else number("mutual_orbit.period_h")
    return Wanted(
        spin_rate_rad_s=2.0 * math.pi / (number("primary.spin_period_h") * HOUR_S),
        phase_rad=np.radians(number("primary.rotation_phase_deg")),
        mass_factor=None if unknown == "mass_factor" else 1.0,
        separation_m=None if unknown == "separation_m" else number("mutual_orbit.separation_m"),
        rate_rad_s=None if period_h is None else 2.0 * math.pi / (period_h * HOUR_S),
    )


DECIDING = ("primary", "secondary", "mutual_orbit", "simulation", "perturbations")
"""Tables of a scenario that decide its start; beside them the orbit about the Sun where its tide is on."""


class StartKey:
    """A scenario as far as it decides its start, and what other tables add: two that agree share what is kept."""

    def __init__(self, scenario: Scenario, *others: str):
        self.scenario = scenario
        if scenario.perturbations.solar_tide == "on":
            others += ("heliocentric_orbit",)
        meshes = (body.polyhedron for body in (scenario.primary, scenario.secondary))
        self.decisive = (
            *(getattr(scenario, name).model_dump_json() for name in (*DECIDING, *others)),
            scenario.impact_epoch_utc,
            str(scenario.folder),
            scenario.place,
            *(mesh.path.read_bytes() if mesh and mesh.path.is_file() else b"" for mesh in meshes),
        )

    def __hash__(self) -> int:
        return hash(self.decisive)

    def __eq__(self, other) -> bool:
        return self.decisive == other.decisive


@takes(scenario="Scenario")
def start(scenario: Scenario) -> Start:
    """Build, relax and calibrate; see Start."""
    primary, secondary = bodies(scenario)
    orbit_table = scenario.mutual_orbit
    _refuse_overlap(scenario, primary, secondary, scenario.mutual_orbit.separation_m)
    wanted = wanted_of(scenario)
    degree, warnings = _degree(scenario, primary, secondary, wanted)
    relaxed = find(primary, secondary, degree, wanted)
    _refuse_overlap(scenario, primary, secondary, relaxed.separation_m)
    warnings += _calibration_warnings(scenario, relaxed.mass_factor, primary, secondary)
    system = _system(relaxed, primary, secondary, scenario, degree)
    relaxed_on_purpose = orbit_table.eccentricity == 0.0 and scenario.secondary.libration_amplitude_deg == 0.0
    if relaxed_on_purpose and not system.perturbations:
        trust = trust_of_relaxed(relaxed, -scenario.simulation.days_before)
        trust = _trust(scenario, system) if trust.unstable else trust
        return _report(scenario, system, relaxed, 0.0, trust, warnings)
    return _by_simulation(scenario, primary, secondary, wanted, degree, warnings)


def _calibration_warnings(scenario: Scenario, factor: float, primary, secondary) -> tuple[str, ...]:
    """Refuse densities that no asteroid has, as a wrong unit of a mesh makes them.

    Say it where the inputs disagree much.
    """
    densities = [factor * body.density_kg_m3 for body in (primary, secondary)]
    low, high = DENSITY_KG_M3
    if not all(low <= density <= high for density in densities):
        raise InputError(
            f"{scenario.place}:mutual_orbit.separation_m",
            f"separation and period ask for densities of {densities[0]:.4g} and {densities[1]:.4g} kg/m3, allowed is "
            f"{low:g} .. {high:g}; check period_h, separation_m, the sizes and the unit of a mesh",
        )
    if abs(factor - 1.0) < CALIBRATION_SURPRISE:
        return ()
    return (f"calibration multiplied the masses by {factor:.3g}: the stated masses, separation and period disagree",)


def _degree(scenario: Scenario, primary, secondary, wanted: Wanted) -> tuple[int, tuple[str, ...]]:
    """The degree that is asked for, or the one that `auto` stands for, with a warning where none is enough."""
    simulation = scenario.simulation
    if simulation.degree != "auto":
        return simulation.degree, ()
    gm = G * (primary.mass_kg + secondary.mass_kg)
    _, separation_m, _ = third_law(gm, flattening_m2(primary, secondary), wanted)
    return chosen_degree(primary, secondary, separation_m, simulation.degree_accuracy)


def _system(orbit: PeriodicOrbit, primary, secondary, scenario: Scenario, degree: int) -> System:
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


def _report(
    scenario: Scenario,
    system: System,
    orbit: PeriodicOrbit,
    period_residual_s: float,
    trust: Trust,
    warnings: tuple[str, ...],
) -> Start:
    modes = tuple(free_modes(orbit))
    unstable = [mode for mode in modes if not mode.stable and mode.growth_per_orbit > 1.0]
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
        trust=trust,
        warnings=tuple(
            f"the relaxed state is unstable: its {m.name} mode grows {m.growth_per_orbit:.3g} times an orbit"
            for m in unstable
        )
        + _chaos_warnings(trust, scenario.simulation.days_before)
        + _range_warnings(system)
        + perturbation_warnings(system, orbit.separation_m, scenario.simulation.days_before)
        + warnings,
    )


def _chaos_warnings(trust: Trust, days: float) -> tuple[str, ...]:
    if not trust.unstable:
        return ()
    return (
        f"the motion before t0 is chaotic: a neighbouring trajectory, {TWIST_RAD:g} rad beside it at t0, diverges by a "
        f"factor of {trust.amplification:.3g} in the {covered_days(days):g} days before, so the moonlet's attitude "
        f"then, and the period before{by_seconds(trust)}, depend on more than can be known",
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


def _refuse_overlap(scenario: Scenario, primary, secondary, separation: float | None) -> None:
    """Meshes may overlap although the scenario's form is right; ellipsoids were checked with it."""
    if separation is None:
        return
    state = np.zeros(20)
    half = 0.5 * math.radians(scenario.primary.rotation_phase_deg)
    state[0], state[6], state[9], state[16] = separation, math.cos(half), math.sin(half), 1.0
    if apart(state, 0, 1, np.array([0.0, 0.0, *primary.enclosing_axes_m, *secondary.enclosing_axes_m]), 0) < 0.0:
        raise InputError(
            f"{scenario.place}:mutual_orbit.separation_m",
            f"the bodies overlap at {separation:g} m, allowed is a distance at which their enclosing ellipsoids "
            "are apart; check separation_m, the sizes and the unit of the mesh",
        )


def _by_simulation(
    scenario: Scenario, primary, secondary, wanted: Wanted, degree: int, warnings: tuple[str, ...]
) -> Start:
    """Relax, add the asked modes, simulate the window before t0 with the perturbations.

    And correct what was asked of the relaxed orbit until it fits.
    """
    asked, eccentricity = wanted, scenario.mutual_orbit.eccentricity
    for _ in range(_ROUNDS):
        orbit = find(primary, secondary, degree, asked)
        state = _excited_state(scenario, orbit, eccentricity)
        system = _system(orbit, primary, secondary, scenario, degree).with_state(state)
        before = simulate(system, -scenario.simulation.days_before, every_minutes=scenario.simulation.sample_minutes)
        if before.status != "done":
            raise ConvergenceError(
                f"with the free modes and perturbations asked for, the run before t0 ends in {before.status}", 1.0, 1
            )
        _refuse_turning(scenario, before)
        found = 2.0 * math.pi / period(before).value_s
        mean = float(averages.mean(np.linalg.norm(before.position_m, axis=1), averages.squared_hann(before.time_s)))
        rate_ratio = wanted.rate_rad_s / found if wanted.rate_rad_s else 1.0
        separation_ratio = wanted.separation_m / mean if wanted.separation_m else 1.0
        residual_s = abs(rate_ratio - 1.0) * 2.0 * math.pi / found
        shape_ratio = _shape_ratio(scenario, before)
        settled = residual_s < PERIOD_TOLERANCE_S and abs(separation_ratio - 1.0) < 1e-6
        if settled and abs(shape_ratio - 1.0) < 1e-3:
            _refuse_turning(scenario, simulate(system, -LOCKED_ORBITS * 2.0 * math.pi / found / DAY_S))
            orbit = replace(orbit, separation_m=mean, rate_rad_s=found)
            return _report(scenario, system, orbit, residual_s, _trust(scenario, system), warnings)
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


def _trust(scenario: Scenario, system: System) -> Trust:
    """Of the window before t0, by companions."""
    how = scenario.simulation
    return simulate_with_companions(system, -how.days_before, system.state, how.sample_minutes, how.max_steps)[1]


def _refuse_turning(scenario: Scenario, before: Trajectory) -> None:
    """A moonlet that turns over before t0 is not synchronous, whatever its mean rate in a window."""
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
        f"{given[first]} is given{beside}, but the moonlet does not stay synchronous: {rounded(days)} days before t0 "
        f"it has turned over (an axis more than {TURNED_DEG:g} deg off), allowed is what keeps the same side to the "
        "primary; take a smaller eccentricity, libration or perturbation",
    )


def turned_days(before: Trajectory) -> float | None:
    """How long before t0 the moonlet has turned over; None where it has not, or is round, so that nothing locks it."""
    turned = turned_over(*axis_angles_deg(before))
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
    move = np.zeros(18)
    amplitude = scenario.secondary.libration_amplitude_deg
    for name, size in (("epicyclic", eccentricity), ("libration", amplitude)):
        if size and name not in modes:
            raise ConvergenceError(f"a free {name} was asked for, but the relaxed state has no such mode", size, 0)
    if eccentricity:
        anomaly = -math.radians(scenario.mutual_orbit.pericentre_deg)
        move += excited(orbit, modes["epicyclic"], 0, -eccentricity, anomaly)
    if amplitude:
        mode = modes["libration"]
        yaw = replace(mode, shape=mode.shape / (mode.shape[14] - mode.shape[1]) * mode.shape[14])
        move += excited(orbit, yaw, 14, math.radians(amplitude), math.radians(scenario.secondary.libration_phase_deg))
    return State.from_vector(displaced(orbit.state.vector, move))
