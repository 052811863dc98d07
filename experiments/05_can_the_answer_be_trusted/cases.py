"""Random pairs after a kinetic impact, and what tight reference runs say of each."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from binarydyn.bodies import Ellipsoid
from binarydyn.constants import HOUR_S
from binarydyn.dynamics import State, System, simulate_many
from binarydyn.dynamics.displacement import FREE, displaced
from binarydyn.errors import ConvergenceError, FewCyclesError
from binarydyn.impact.frame import orbit_axes
from binarydyn.observables import period
from binarydyn.relaxed.circular import Wanted
from binarydyn.relaxed.free_modes import free_modes
from binarydyn.relaxed.periodic import PeriodicOrbit, find

SEED = 20261125
DAYS = 60.0
REFERENCE = 1e-13
"""Tolerance of the reference runs; step errors are held to a twentieth of it, so rounding is what is left."""
HAIR = 1e-9
"""Distance of two reference runs at their start, radians: a hundredth of what the flag's own neighbouring trajectories
start with."""
LONG = 4
"""The references are followed over so many windows."""
SPACING_MINUTES = 120.0


@dataclass(frozen=True)
class Case:
    """A relaxed system before the impact, and its state just after it."""

    before: System
    after: State

    def at(self, tolerance: float, integrator: str = "rungekutta") -> System:
        return replace(self.before, tolerance=tolerance, integrator=integrator)


def pair(random: np.random.Generator) -> tuple[Ellipsoid, Ellipsoid, float, float]:
    """Bodies, separation m and primary's spin rate rad/s; the ranges are those of small near-Earth binaries.

    Diameter ratio 0.15 to 0.28, separation 2.6 to 4 primary radii, spins from 1.05 times the period at which a loose
    sphere breaks up, 3.3 h / sqrt(density in g/cm3) (Pravec & Harris 2000, Icarus 148, 12); ranges from memory.
    """
    radius, density = random.uniform(300.0, 450.0), random.uniform(1500.0, 3000.0)
    axes = radius * np.array([1.0, random.uniform(0.90, 1.0), 1.0])
    axes[2] = axes[1] * random.uniform(0.75, 0.95)
    small = radius * random.uniform(0.15, 0.28)
    b, c = 1.0 / random.uniform(1.05, 1.5), 1.0 / random.uniform(1.05, 1.5)
    primary = Ellipsoid(tuple(axes), density)
    secondary = Ellipsoid((small, small * b, small * b * c), density * random.uniform(0.8, 1.2))
    spin_h = 3.3 / math.sqrt(density / 1000.0) * random.uniform(1.05, 1.6)
    return primary, secondary, radius * random.uniform(2.6, 4.0), 2.0 * math.pi / (spin_h * HOUR_S)


def hit(state: State, random: np.random.Generator) -> State:
    """The state after a velocity change against the motion by 0.3 to 2.5 % of the speed (the 2022 test: 1.6 %) with up
    to a third of it across, from a secondary that is tilted by about a degree about each axis (it is never quite at
    rest), and with a change of spin as from an impact some metres off centre: about 2 % of its rate about each axis."""
    speed = float(np.linalg.norm(state.velocity_m_s))
    velocity_change = speed * random.uniform(0.003, 0.025) * np.array([-1.0, *random.uniform(-0.33, 0.33, 2)])
    move = np.zeros(FREE)
    move[3:6] = velocity_change @ orbit_axes(state)
    move[12:15] = np.radians(1.0) * random.standard_normal(3)
    move[15:18] = 0.02 * np.linalg.norm(state.rate2_rad_s) * random.standard_normal(3)
    return State.from_vector(displaced(state.vector, move))


def relaxed(random: np.random.Generator) -> tuple[PeriodicOrbit, Ellipsoid, Ellipsoid] | None:
    """A system in its relaxed state; None where there is none, or none that a system could have stayed in."""
    primary, secondary, separation, spin = pair(random)
    try:
        orbit = find(primary, secondary, 4, Wanted(spin, random.uniform(0.0, 2.0 * math.pi), 1.0, separation, None))
    except ConvergenceError:
        return None
    return (orbit, primary, secondary) if all(mode.stable for mode in free_modes(orbit)) else None


def cases(count: int, seed: int = SEED) -> tuple[list[Case], int]:
    """So many cases, the same for each seed (the first ones are the same for any count), and how many pairs were left
    out because they have no stable relaxed state."""
    found, left_out, k = [], 0, 0
    while len(found) < count:
        random = np.random.default_rng([seed, k])
        k += 1
        start = relaxed(random)
        if start is None:
            left_out += 1
            continue
        orbit, primary, secondary = start
        system = System(primary, secondary, orbit.state, 4)
        found.append(Case(system, hit(orbit.state, random)))
    return found, left_out


def period_s(run) -> float:
    """nan where the run ended too early."""
    try:
        return period(run).value_s if run.status == "completed" else math.nan
    except FewCyclesError:
        return math.nan


def period_changes_s(
    some: list[Case], tolerance: float, integrator: str = "rungekutta", sample_minutes: float = 20.0
) -> np.ndarray:
    """(cases,) period in the window after minus period in the window before, both simulated; nan without a period.

    The splitting samples at its own steps, which sample_minutes may only shorten: a long one lets it choose.
    """
    systems = [case.at(tolerance, integrator) for case in some]
    before = simulate_many(systems, -DAYS, None, sample_minutes)
    after = simulate_many(systems, DAYS, [case.after for case in some], sample_minutes)
    return np.array([period_s(two) - period_s(one) for one, two in zip(before, after, strict=True)])


def displacements(seed: int = SEED, count: int = 2) -> np.ndarray:
    """(count, 18) of size HAIR: random twists of the secondary (radians) together with changes of its spin (shares)."""
    out = np.zeros((count, FREE))
    out[:, 12:18] = np.random.default_rng([seed, 10**6]).standard_normal((count, 6))
    return HAIR * out / np.linalg.norm(out, axis=1, keepdims=True)


def moved(case: Case, move: np.ndarray) -> State:
    """The state after the impact with a displacement; that of the spin is a share of it."""
    size = np.ones(FREE)
    size[15:18] = np.linalg.norm(case.after.rate2_rad_s)
    return State.from_vector(displaced(case.after.vector, move * size))


def separations(one, other) -> np.ndarray:
    """Angle between the secondary's attitudes in two runs or, if larger, between the directions of r, each time."""
    count = min(len(one.time_s), len(other.time_s))
    p, q = one.attitude2[:count], other.attitude2[:count]
    chord = np.minimum(np.linalg.norm(p - q, axis=1), np.linalg.norm(p + q, axis=1))
    r, s = (run.position_m[:count] / np.linalg.norm(run.position_m[:count], axis=1)[:, None] for run in (one, other))
    return np.maximum(4.0 * np.arcsin(np.minimum(0.5 * chord, 1.0)), np.linalg.norm(r - s, axis=1))


def growth(some: list[Case], windows: int = LONG) -> np.ndarray:
    """(cases, windows): how much farther apart than HAIR reference runs get that start so far apart, by the end of each
    window; the larger of two displacements."""
    out = np.zeros((len(some), windows))
    for k in range(0, len(some), 16):
        part = some[k : k + 16]
        systems = [case.at(REFERENCE) for case in part]
        base = simulate_many(systems, windows * DAYS, [case.after for case in part], SPACING_MINUTES)
        for move in displacements():
            states = [moved(case, move) for case in part]
            others = simulate_many(systems, windows * DAYS, states, SPACING_MINUTES)
            for i, (one, other) in enumerate(zip(base, others, strict=True)):
                apart = np.maximum.accumulate(separations(one, other)) / HAIR
                ends = np.round(np.arange(1, windows + 1) * DAYS * 1440.0 / SPACING_MINUTES).astype(int)
                out[k + i] = np.maximum(out[k + i], apart[np.minimum(ends, len(apart) - 1)])
    return out
