"""Runs of a system over days.

From a state at t0 to a trajectory, forwards or backwards, in blocks that can be watched.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil
from types import ModuleType

import numpy as np

from ..constants import DAY_S
from ..errors import InputError
from ..kinds import check_kind, takes
from ..motion import perturbing
from ..motion.equations import PERTURBED
from ..motion.layout import (
    ATTITUDE1,
    ATTITUDE2,
    BEFORE,
    EVALUATIONS,
    GROWTH,
    POSITION,
    PROGRESS,
    SAMPLES,
    SIZE,
    STEP,
    STEPS,
    TIME,
    W1,
    W2,
    WEIGHT,
    WORK,
)
from ..motion.state import State, System
from ..motion.trajectory import STATUSES, Trajectory
from ..scenario.tables.events import MOST_SAMPLES
from . import rungekutta
from .step_rules import CONTACT, ESCAPE, FARTHEST, MOST, PAUSED, STEP_FAILURE, STEP_LIMIT

MAX_STEPS = 20_000_000
ERROR_SHARE = 0.05
"""The norm of the step error is held to this share of the tolerance.

Energy then drifts under 1e-11 in 60 days at 1e-12.
"""
BLOCK_STEPS = 100_000
"""Attempts in one block of compiled code, well under a second: so that a run can be watched and interrupted."""


@dataclass
class Run:
    """An integration under way: everything the next block needs; going on from a copy of it gives the same bits."""

    system: System
    model: int
    constants: np.ndarray
    coefficients: np.ndarray
    limits: np.ndarray
    work: np.ndarray
    progress: np.ndarray
    samples: np.ndarray  # flat, rows of 20
    spacing_s: float
    status: int = PAUSED


def scales(system: System, state: State) -> np.ndarray:
    """(20,): the sizes that errors are compared with.

    Separation, circular speed, 1, and the larger of each spin and the mean motion.
    """
    distance = float(np.linalg.norm(state.position_m))
    motion = (system.gm_m3_s2 / distance**3) ** 0.5
    spins = [max(float(np.linalg.norm(rate)), motion) for rate in (state.rate1_rad_s, state.rate2_rad_s)]
    parts = (distance, motion * distance, 1.0, spins[0], 1.0, spins[1])
    return np.repeat(parts, (3, 3, 4, 3, 4, 3))


def usable(state: State) -> State:
    """The state with attitudes of unit length.

    ValueError for what is no state: not finite, no distance, no attitude.
    """
    check_kind("state", state, "State")
    y = state.vector
    lengths = [float(np.linalg.norm(y[part])) for part in (POSITION, ATTITUDE1, ATTITUDE2)]
    if not np.all(np.isfinite(y)) or min(lengths) == 0.0:
        raise InputError("state", "it is not finite, or has a distance or an attitude of length zero; give another one")
    if abs(lengths[1] - 1.0) < 1e-12 and abs(lengths[2] - 1.0) < 1e-12:
        return state
    return State.from_vector(y)


def _limits(system: System, state: State) -> np.ndarray:
    near = system.primary.bounding_radius_m + system.secondary.bounding_radius_m
    far = FARTHEST * float(np.linalg.norm(state.position_m))
    if system.perturbations and system.perturbations.tide:
        far = system.perturbations.tide.hill_radius_m(system.gm_m3_s2)
    return np.array([near, far, *system.primary.enclosing_axes_m, *system.secondary.enclosing_axes_m], dtype=float)


def by_gauss(system: System) -> bool:
    """Whether Gauss's collocation runs it; perturbations are known to the adaptive method alone."""
    return system.integrator == "gauss" and not system.perturbations


def start(system: System, days: float, state: State | None = None, every_minutes: float = 20.0) -> Run:
    """Set up a run from `state` (default: the system's) at t0 over `days` (< 0: backwards), sampled every
    every_minutes or a little less.

    The samples divide the window evenly and include both ends.  ValueError if days is 0 or not finite.
    """
    if not np.isfinite(days) or days == 0.0:
        raise InputError("days", f"a run needs a length other than zero, {days} days were given")
    if not every_minutes > 0.0:
        raise InputError("every_minutes", f"{every_minutes} is given, allowed is above 0; change it")
    state = usable(system.state if state is None else state)
    constants, coefficients = system.parameters
    model = system.gravity_model
    if system.perturbations:
        constants = np.append(constants, perturbing.constants(system.perturbations, system, state, forwards=days > 0.0))
        model += PERTURBED
    if not abs(days) * 1440.0 / every_minutes <= MOST_SAMPLES:
        raise InputError(
            "days",
            f"{days:g} days at {every_minutes:g} min make {abs(days) * 1440.0 / every_minutes:.3g} samples, allowed "
            f"is up to {MOST_SAMPLES:.0e}; give fewer days or a longer every_minutes",
        )
    intervals = max(1, ceil(abs(days) * 1440.0 / every_minutes - 1e-9))
    work, size = np.zeros(WORK), scales(system, state)
    work[:SIZE] = state.vector
    work[WEIGHT : WEIGHT + SIZE] = 1.0 / (ERROR_SHARE * system.tolerance * size)
    progress = np.zeros(PROGRESS)
    progress[GROWTH] = MOST
    progress[STEP] = np.sign(days) * 0.05 / max(size[W1], size[W2])
    if by_gauss(system):
        from . import gauss_runs

        work = gauss_runs.work_array(model, state.vector, size, np.concatenate((constants, coefficients)))
        progress[BEFORE] = 0.0
    return Run(
        system,
        model,
        constants,
        coefficients,
        _limits(system, state),
        work,
        progress,
        np.zeros((intervals + 2) * SIZE),
        days * DAY_S / intervals,
    )


def advance(run: Run, max_steps: int = MAX_STEPS, block_steps: int = BLOCK_STEPS) -> bool:
    """Integrate one block in place; True once the run has ended, however it did."""
    run.status = _kernels(run).advance(
        run.work,
        run.progress,
        run.samples,
        run.spacing_s,
        float(max_steps),
        block_steps,
        run.limits,
        run.coefficients,
        run.constants,
    )
    return run.status != PAUSED


def _kernels(run: Run) -> ModuleType:
    """The entry points of its method; Gauss's is loaded by those who use it, not by every start of the package."""
    if not by_gauss(run.system):
        return rungekutta.entry(run.model)
    from . import gauss_runs

    return gauss_runs.entry(run.model)


def fraction_done(run: Run) -> float:
    """Share of the samples that are there."""
    return float(run.progress[SAMPLES]) / (len(run.samples) // SIZE - 1)


def finished(run: Run) -> Trajectory:
    """The trajectory of a run that has ended, with its drifts; samples in ascending time."""
    count = int(run.progress[SAMPLES])
    times = run.spacing_s * np.arange(count)
    if run.status == CONTACT:
        times = np.append(times, run.progress[TIME])
    elif run.status in (ESCAPE, STEP_FAILURE, STEP_LIMIT):
        if not count or abs(run.progress[TIME]) > abs(times[-1]):
            times = np.append(times, run.progress[TIME])
            run.samples[count * SIZE : (count + 1) * SIZE] = run.work[:SIZE]
    y = run.samples[: len(times) * SIZE].reshape(-1, SIZE).copy()
    for attitude in (ATTITUDE1, ATTITUDE2):
        y[:, attitude] /= np.linalg.norm(y[:, attitude], axis=1, keepdims=True)
    energy, momentum = (None, None) if run.system.perturbations else _drifts(run, y)
    order = slice(None, None, -1 if run.spacing_s < 0 else 1)
    return Trajectory(
        system=run.system,
        time_s=np.ascontiguousarray(times[order]),
        y=np.ascontiguousarray(y[order]),
        status=STATUSES[run.status],
        relative_energy_error=energy,
        relative_angular_momentum_error=momentum,
        steps=int(run.progress[STEPS]),
        evaluations=int(run.progress[EVALUATIONS]),
    )


def _drifts(run: Run, y: np.ndarray) -> tuple[float, float]:
    """By how much energy and angular momentum depart from their start; see Trajectory."""
    energy, momentum = rungekutta.entry(run.model).drifts(y.ravel(), len(y), run.coefficients, run.constants)
    at_start = run.system.with_state(State.from_vector(y[0]))
    return energy * 2.0 * semi_major_axis_m(at_start), momentum / _orbital_momentum(at_start)


@takes(system="System")
def semi_major_axis_m(system: System) -> float:
    """Osculating |a| = |1 / (2/r - v^2/GM)| of the state at t0, GM of the system."""
    r, v = np.linalg.norm(system.state.position_m), np.linalg.norm(system.state.velocity_m_s)
    return float(abs(1.0 / (2.0 / r - v * v / system.gm_m3_s2)))


def _orbital_momentum(system: System) -> float:
    return max(float(np.linalg.norm(np.cross(system.state.position_m, system.state.velocity_m_s))), 1e-300)


def blocks(run: Run, max_steps: int = MAX_STEPS) -> Iterator[float]:
    """Integrate to the end, yielding the share that is done after each block."""
    ended = False
    while not ended:
        ended = advance(run, max_steps)
        yield fraction_done(run)
