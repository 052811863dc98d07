"""How strong a drag has to be for a drift of the mean motion."""

from __future__ import annotations

import math

import numpy as np

from ..bodies.averaged import free_turns
from ..gravity.line import line_potential
from ..vectors import rotation_of_quaternion
from .layout import NEVER
from .perturbations import Drift
from .state import State, System

MOST_ECCENTRIC = 0.6
"""Of an orbit whose drift is that of the circular one of its energy."""
LEAST_SLIP = 0.1
"""|w - n| over n of the primary's spin w, below which its equator's pull is no fast one."""


def drag_constants(drift: Drift, system: System, state: State, forwards: bool) -> tuple[float, ...]:
    """(4,): the steady y, that of the transient at its start, 1/s; its decay, 1/s, and its end, s."""
    mean_motion, part = mean_motion_and_drag(system, state)
    steady = part * drift.rate_rad_s2 / mean_motion
    change = drift.transient_period_change_s * mean_motion / (2.0 * math.pi) if forwards else 0.0
    first = -part * math.log1p(max(change, -0.9)) / drift.transient_s
    if drift.profile == "linear":
        return steady, first, 0.0, drift.transient_s
    return steady, first, 1.0 / drift.transient_s, NEVER


def mean_motion_and_drag(system: System, state: State) -> tuple[float, float]:
    """(n, y n / n'): mean motion, and how strong a drag has to be to change it.

    The drag takes y m a^2 n of the angular momentum m a^2 n + C n, along the circular orbits of the whole field, so
    y n / n' = -1 - 2 (d ln a / d ln n) - C / (m a^2): 1/3 for points.  C counts where the secondary's spin follows n,
    which that of one round about z does not.  a is that of the circular orbit of the same energy, what the primary's
    equator lends at this phase taken out; that holds to e^2 times what the bodies add to a point's field.  Where the
    orbit is unbound or beyond an eccentricity of MOST_ECCENTRIC, no circular one stands for it, and a is r.
    """
    line = line_potential(system.primary, system.secondary, system.degree, system.gm_m3_s2)
    r, v = (float(np.linalg.norm(part)) for part in (state.position_m, state.velocity_m_s))
    energy = line.energy_m2_s2(r, v) - _lent_m2_s2(system, state, line.rate_rad_s(r))
    over = 2.0 * r * -energy / system.gm_m3_s2  # r / a, from 1 - e to 1 + e
    a = line.circular_m(energy) if abs(over - 1.0) < MOST_ECCENTRIC else r
    inertia = system.secondary.inertia_kg_m2
    spin = 0.0 if free_turns(inertia)[2] else inertia[2] / (system.reduced_mass_kg * a * a)
    return line.rate_rad_s(a), -1.0 - 2.0 / line.rate_slope(a) - float(spin)


def _lent_m2_s2(system: System, state: State, n: float) -> float:
    """By how much the energy of a circular orbit in the averaged field is above its mean while the primary turns.

    n/(w - n) U22, U22 = -3 GM C22 R^2 cos(2 phase) / r^3: the orbit's energy follows w dh, E - w h being kept.
    """
    axes = np.array(rotation_of_quaternion(*state.attitude1)).reshape(3, 3)
    x, y, _ = state.position_m @ axes
    ix, iy, _ = system.primary.inertia_kg_m2
    sense = math.copysign(1.0, np.cross(state.position_m, state.velocity_m_s) @ axes[:, 2])
    slip = sense * float(state.rate1_rad_s[2]) - n
    slip = math.copysign(max(abs(slip), LEAST_SLIP * n), slip)
    r = float(np.linalg.norm(state.position_m))
    equator = 0.75 * (iy - ix) / system.primary.mass_kg * (x * x - y * y) / (x * x + y * y)
    return -n / slip * system.gm_m3_s2 * equator / r**3
