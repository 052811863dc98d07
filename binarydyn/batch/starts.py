"""Relaxed and calibrated starts of hundreds of members as arrays: of each, or the one that all of them share."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ..bodies import Ellipsoid
from ..constants import HOUR_S
from ..errors import ConvergenceError, InputError
from ..kinds import sure
from ..motion.equations import with_masses
from ..observables.chaos import covered_days, is_chaotic
from ..relaxed.asked import StartKey, wanted_of
from ..relaxed.bodies import bodies
from ..relaxed.growth_by_map import growth_by_map
from ..relaxed.newton import PairColumns
from ..relaxed.periodic import PeriodicOrbits, find_all
from ..relaxed.start import Start, start
from ..scenario import Scenario
from ..scenario.tables.bodies import DENSITY_KG_M3
from .ellipsoids import Ellipsoids
from .inputs import OF_START, Inputs, is_plain
from .scaled import Scaled

Bodies = Ellipsoids | Scaled
_NUMBERS = ("period_h", "separation_m", "found", "growth", "spread_s")
_PART = 512
"""Pairs that are searched together: their arrays stay in the processor's cache."""


@dataclass(frozen=True)
class Starts:
    """n pairs at t0 with calibrated masses: states y (20, n), parameters as of motion.equations, and (n,) numbers.

    found: where False there is no start here, and the rest means nothing.  growth, spread_s: of neighbouring
    trajectories in the window before t0, as of observables.chaos; nan where that was not asked for.
    """

    model: int
    primary: Bodies
    secondary: Bodies
    y: np.ndarray
    constants: np.ndarray
    coefficients: np.ndarray
    period_h: np.ndarray
    separation_m: np.ndarray
    found: np.ndarray
    growth: np.ndarray
    spread_s: np.ndarray


def begun_together(scenario: Scenario) -> Start | None:
    """The start that members share which vary nothing of it; None where there is none, for each to say why."""
    try:
        return _begun(StartKey(scenario))
    except (ConvergenceError, InputError):
        return None


@lru_cache(maxsize=8)
def _begun(key: StartKey) -> Start:
    return start(key.scenario)


@lru_cache(maxsize=8)
def _bodies(key: StartKey) -> tuple:
    return bodies(key.scenario)


def repeated(begun: Start, count: int) -> Starts:
    """One start for all."""
    system = begun.system
    one, two = (_repeated_body(body, count) for body in (system.primary, system.secondary))
    columns = (np.repeat(part[:, None], count, axis=1) for part in (system.state.vector, *system.parameters))
    numbers = (np.full(count, number) for number in (begun.period_h, begun.separation_m, True, *before_of(begun)))
    return Starts(system.gravity_model, one, two, *columns, *numbers)


def before_of(begun: Start) -> tuple[float, float]:
    """Growth of neighbouring trajectories in the window before t0, and the spread of its period: 0 where none was run,
    all being regular."""
    chaos = begun.chaos
    spread_s = chaos.period_spread_s
    return chaos.divergence_factor, (np.nan if chaos.chaotic else 0.0) if spread_s is None else spread_s


def _repeated_body(body, count: int) -> Bodies:
    density = np.full(count, body.density_kg_m3)
    if isinstance(body, Ellipsoid):
        return Ellipsoids(np.repeat(np.array(body.semi_axes_m)[:, None], count, axis=1), density)
    return Scaled(body, np.ones(count), density)


def starts_of(inputs: Inputs, workers: int = 1, chaos: bool = False) -> Starts:
    """Pairs that are relaxed and calibrated each, by `workers` threads; those that agree in what decides that, once.

    chaos: whether to say how neighbouring trajectories grow before t0; those that are chaotic are then not found here.
    """
    names = [name for name in inputs.columns if name in OF_START]
    _, first, place = np.unique(
        np.array([inputs.columns[name] for name in names]), axis=1, return_index=True, return_inverse=True
    )
    if len(first) == inputs.count:
        return _by_threads(inputs, workers, chaos)
    found = _by_threads(inputs.some(first), workers, chaos)
    one, two = (body.some(place) for body in (found.primary, found.secondary))
    columns = (part[:, place] for part in (found.y, found.constants, found.coefficients))
    rest = (getattr(found, name)[place] for name in _NUMBERS)
    return Starts(found.model, one, two, *columns, *rest)


def _by_threads(inputs: Inputs, workers: int, chaos: bool) -> Starts:
    """In parts, since kernels release the interpreter."""
    parts = [at for at in np.array_split(np.arange(inputs.count), -(-inputs.count // _PART)) if len(at)]
    if workers == 1 or len(parts) == 1:
        return _joined([_relaxed(inputs.some(at), chaos) for at in parts])
    with ThreadPoolExecutor(workers) as threads:
        return _joined(list(threads.map(lambda at: _relaxed(inputs.some(at), chaos), parts)))


def _joined(parts: list[Starts]) -> Starts:
    """Several of one model as one."""
    one, two = (type(body).joined([getattr(part, name) for part in parts])
                for name, body in (("primary", parts[0].primary), ("secondary", parts[0].secondary)))  # fmt: skip
    names = ("y", "constants", "coefficients", *_NUMBERS)
    columns = (np.concatenate([getattr(part, name) for part in parts], axis=-1) for name in names)
    return Starts(parts[0].model, one, two, *columns)


def _relaxed(inputs: Inputs, chaos: bool) -> Starts:
    scenario, days = inputs.scenario, covered_days(-inputs.scenario.simulation.days_before)
    one, two = _stated(inputs)
    pairs = PairColumns.of(one, two, scenario.simulation.degree)
    orbits = find_all(pairs, wanted_of(scenario, inputs.__getitem__), maps=chaos)
    found = orbits.found & (orbits.separation_m > one.bounding_radius_m + two.bounding_radius_m)
    factor = np.where(found, orbits.mass_factor, 1.0)
    one, two = (replace(body, density_kg_m3=body.density_kg_m3 * factor) for body in (one, two))
    for body in (one, two):
        found &= (DENSITY_KG_M3[0] < body.density_kg_m3) & (body.density_kg_m3 < DENSITY_KG_M3[1])
    constants, period = with_masses(pairs.constants, factor), 2.0 * np.pi / orbits.rate_rad_s / HOUR_S
    growth = _growths(orbits, days) if chaos else np.full(inputs.count, np.nan)
    found &= ~is_chaotic(growth, days)
    numbers = (period, orbits.separation_m, found, growth, np.where(chaos, 0.0 * period, np.nan))
    return Starts(pairs.model, one, two, orbits.y, constants, pairs.coefficients, *numbers)


def _growths(orbits: PeriodicOrbits, days: float) -> np.ndarray:
    """(n,) divergence_factor of neighbouring trajectories, as chaos_of_relaxed; nan where there is no start."""
    growth = np.full(len(orbits.found), np.nan)
    for k in np.flatnonzero(orbits.found):
        growth[k], _ = growth_by_map(
            sure(orbits.return_map)[k], orbits.scale[:, k], orbits.y[:6, k], orbits.turn_s[k], days
        )
    return growth


def _stated(inputs: Inputs) -> list[Bodies]:
    """Both bodies with the masses that are stated."""
    names = ("primary", "secondary")
    if all(is_plain(inputs.scenario, name) for name in names):
        return [inputs.ellipsoids(name) for name in names]
    fixed = dict(zip(names, _bodies(StartKey(inputs.scenario)), strict=True))
    return [
        inputs.ellipsoids(name) if is_plain(inputs.scenario, name) else _repeated_body(fixed[name], inputs.count)
        for name in names
    ]
