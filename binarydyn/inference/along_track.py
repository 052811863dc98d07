"""The velocity change along the track behind a period change on a Kepler orbit, and the state that a velocity change
leaves.

|V + a + b dv_t|^2 = v^2 (2 - (P'/P)^(-2/3)) (vis-viva at the distance of the impact), where a + b dv_t is the whole
velocity change: its other components are those of the impactor's momentum and of the ejecta (equation 1 of
impact/momentum.py).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..dynamics import State, System
from ..impact.books.masses import Exchange, exchanged, masses_of
from ..impact.frame import orbit_axes
from ..impact.leverage import Leverage, leverages
from ..impact.momentum import pushed
from ..impact.reshaping import reshaped
from ..kinds import sure
from ..relaxed.start import Start
from ..scenario import Scenario
from ..scenario.side_by_side import Varied
from .pair_draws import Pairs

LEAST_STRENGTH = 1e-3
"""|(E.U)(E.t)| below which beta does nothing along the track and cannot be told from it."""


def levers(scenario: Scenario, nominal: Start, inputs: Mapping[str, np.ndarray], count: int) -> Leverage | None:
    """(count,) rows of flight and ejecta's axis in the drawn inputs; None without an impactor."""
    return leverages(nominal.system, scenario, inputs or {"": np.zeros(count)}) if scenario.impactor else None


def momenta(scenario: Scenario, inputs: Mapping[str, np.ndarray], count: int) -> np.ndarray:
    """(count,) m U of the impactor, kg m/s; zero without one."""
    if not scenario.impactor:
        return np.zeros(count)
    mass = inputs.get("impactor.mass_kg", scenario.impactor.mass_kg)
    speed = inputs.get("impactor.speed_km_s", scenario.impactor.speed_km_s)
    return np.broadcast_to(mass * 1e3 * speed, (count,)).astype(float)


def dv_for(
    change_s: np.ndarray, pair: Pairs, lever: Leverage | None, momentum_kg_m_s: np.ndarray, scenario: Scenario
) -> np.ndarray:
    """(n,) along-track pushes, m/s, with closed-form period changes (n,); NaN where there is none.

    Without a lever the velocity change is the scenario's, whose other components are kept.
    """
    v = 2.0 * np.pi * pair.separation_m / pair.period_s
    along = np.zeros((len(v), 3))
    along[:, 0] = v
    if lever is None:
        given = sure(scenario.velocity_change)
        a = np.array([[0.0, 1e-3 * given.radial_mm_s, 1e-3 * given.normal_mm_s]])
        b = np.array([[1.0, 0.0, 0.0]])
    else:
        with np.errstate(all="ignore"):
            a = lever.velocity_change(np.zeros(len(v)), pair.secondary_kg, momentum_kg_m_s)
            b = lever.ejecta / lever.ejecta[:, :1]
    with np.errstate(all="ignore"):
        squared = v * v * (2.0 - (1.0 + change_s / pair.period_s) ** (-2.0 / 3.0))
        first = np.sum((along + a) * b, axis=1)
        rest = np.sum((along + a) ** 2, axis=1) - squared
        return -rest / (first + np.sqrt(first**2 - np.sum(b * b, axis=1) * rest))


def _exchange(system: System, scenario: Scenario, lever: Leverage | None) -> Exchange | None:
    """Mass that joins and leaves at the site, or where the scenario says."""
    if lever is not None:
        return exchanged(system, system.state, lever.point_m[0], lever.masses.at(0)) if lever.masses else None
    masses = masses_of(Varied(scenario, {}, 1), None, system.secondary.mass_kg)
    if not masses:
        return None
    return exchanged(system, system.state, np.array(sure(scenario.mass_exchange).from_m), masses.at(0))


def state_after(
    system: System, scenario: Scenario, lever: Leverage | None, dv_m_s: float, momentum_kg_m_s: float
) -> tuple[System, State]:
    """System and state after a velocity change with this along-track part, at the site or, without a lever, at the
    centre of mass.

    The system has the new shapes that the scenario gives the bodies at the impact.
    """
    mass = np.array([system.secondary.mass_kg])
    if lever is None:
        given = sure(scenario.velocity_change)
        change = np.array([dv_m_s, 1e-3 * given.radial_mm_s, 1e-3 * given.normal_mm_s])
        point = np.zeros(3)
    else:
        change = lever.velocity_change(np.array([dv_m_s]), mass, np.array([momentum_kg_m_s]))[0]
        point = lever.point_m[0]
    dv, exchange = change @ orbit_axes(system.state), _exchange(system, scenario, lever)
    if exchange:
        system = exchange.system
        dv, point = (dv - exchange.dv_m_s, exchange.point_m) if lever else (dv, point)
    state = pushed(system, system.state, system.secondary.mass_kg * dv, point)
    if scenario.reshaping is None:
        return system, state
    new = reshaped(system, state, scenario.reshaping)
    return new.system, new.state
