"""Where the energy and the angular momentum of an impact go: part by part, before, after the impact, with the new
shapes.

In the frame where the system's barycentre was at rest before; energies in J, angular momenta about the barycentre in
kg m2/s.  Parts are worked out anew from each state, so that their sums can be held against what was brought: the work
J.(u + u')/2 and the moment r x J of the impulse J = impactor - ejecta - boulders (momentum.py), and what the new shapes
change (reshaping.py).  What goes into heat, craters and the bodies' own gravity is not in the books.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...columns import angle_deg
from ...dynamics.angular_momentum import angular_momenta
from ...kinds import sure, takes
from ...motion.state import State, System
from ...vectors import rotation
from ..frame import mirrored, mirrored_state
from ..reshaping import potential_J
from ..struck import Impact

PARTS = ("orbit", "primary spin", "secondary spin", "potential", "barycentre")


@dataclass(frozen=True)
class Budget:
    """energy_J (stages, 5) by PARTS; angular_momentum_kg_m2_s (stages, 3, 3) of the first three, inertial axes.

    Stages: `before`, where masses are exchanged `masses exchanged`, `after the impact` and, where shapes change, `new
    shapes`.  brought_J and brought_kg_m2_s (3,):
    the work and the moment of the impulse; shapes_J: what the new shapes add; exchanged_J: what mass that joins or
    leaves has with it, moving as the ground does.  Residuals: sums against what was brought
    and added, over the sizes of what is summed; zero but for rounding.
    """

    stages: tuple[str, ...]
    energy_J: np.ndarray
    angular_momentum_kg_m2_s: np.ndarray
    brought_J: float
    brought_kg_m2_s: np.ndarray
    shapes_J: float
    exchanged_J: float
    energy_residual: float
    angular_residual: float


@takes(system="System", before="State", impact="Impact")
def impact_budget(system: System, before: State, impact: Impact) -> Budget:
    """The books of an impact on a system that was in the state `before`."""
    if impact.mirror:
        return _mirrored_budget(system, before, impact)
    stages = [("before", system, before, still := np.zeros(3))]
    if impact.exchange:
        old_dv, old_mass_kg = system.primary.mass_kg / system.mass_kg * before.velocity_m_s, system.mass_kg
        system, before = impact.exchange.system, impact.exchange.state
        still = (system.mass_kg - old_mass_kg) * (old_dv + impact.exchange.ground_m_s) / system.mass_kg
        stages.append(("masses exchanged", system, before, still))
    first = len(stages) - 1
    pushed, barycentre_dv = _just_pushed(before, impact), still + impact.momentum_kg_m_s / system.mass_kg
    stages.append(("after the impact", system, pushed, barycentre_dv))
    if impact.reshaped:
        stages.append(("new shapes", impact.system, impact.state, barycentre_dv))
    energy = np.array([_energies(*stage[1:]) for stage in stages])
    moments = np.array([angular_momenta(s.primary, s.secondary, state.vector) for _, s, state, _ in stages])
    arm, speeds = _arm(system, before, impact), [_speed(system, state, impact) for state in (before, pushed)]
    work = float(impact.momentum_kg_m_s @ (0.5 * (speeds[0] + speeds[1] + still + barycentre_dv)))
    moment = np.cross(arm, impact.momentum_kg_m_s)
    jump = impact.reshaped.energy_change_J if impact.reshaped else 0.0
    sums, totals = energy.sum(axis=1), moments.sum(axis=1)
    return Budget(
        stages=tuple(stage[0] for stage in stages),
        energy_J=energy,
        angular_momentum_kg_m2_s=moments,
        brought_J=work,
        brought_kg_m2_s=moment,
        shapes_J=jump,
        exchanged_J=float(sums[first] - sums[0]),
        energy_residual=float(abs(sums[-1] - sums[first] - work - jump) / np.abs(energy[0]).sum()),
        angular_residual=float(
            np.linalg.norm(totals[-1] - totals[first] - moment) / np.linalg.norm(moments[0], axis=1).sum()
        ),
    )


def _mirrored_budget(system: System, before: State, impact: Impact) -> Budget:
    """Of a hit of the primary: that of the mirrored one, with the spins in their columns, and new shapes on top."""
    seen = replace(sure(impact.mirror), reshaped=impact.reshaped)
    if impact.reshaped:
        seen = replace(seen, state=mirrored_state(impact.state), system=mirrored(impact.system))
    found = impact_budget(mirrored(system), mirrored_state(before), seen)
    energy = found.energy_J[:, [0, 2, 1, 3, 4]]
    return replace(found, energy_J=energy, angular_momentum_kg_m2_s=found.angular_momentum_kg_m2_s[:, [0, 2, 1]])


def _just_pushed(before: State, impact: Impact) -> State:
    """The state after the impact on bodies that still have their old shapes."""
    return State(
        before.position_m,
        impact.state.velocity_m_s,
        before.attitude1,
        before.rate1_rad_s,
        before.attitude2,
        before.rate2_rad_s + impact.spin_change_rad_s,
    )


def _energies(system: System, state: State, barycentre_m_s: np.ndarray) -> list[float]:
    """By PARTS."""
    v, w1, w2 = state.velocity_m_s, state.rate1_rad_s, state.rate2_rad_s
    return [
        0.5 * system.reduced_mass_kg * float(v @ v),
        0.5 * float(w1 @ (system.primary.inertia_kg_m2 * w1)),
        0.5 * float(w2 @ (system.secondary.inertia_kg_m2 * w2)),
        potential_J(system, state),
        0.5 * system.mass_kg * float(barycentre_m_s @ barycentre_m_s),
    ]


def _lever(state: State, impact: Impact) -> np.ndarray:
    """(3,) from the secondary's centre to where the impulse acts, inertial; zero where a velocity change is given."""
    if impact.site is None:
        return np.zeros(3)
    return rotation(state.attitude2) @ (impact.exchange or impact.site).point_m


def _arm(system: System, state: State, impact: Impact) -> np.ndarray:
    """(3,) from the barycentre to where the impulse acts."""
    return system.primary.mass_kg / system.mass_kg * state.position_m + _lever(state, impact)


def _speed(system: System, state: State, impact: Impact) -> np.ndarray:
    """(3,) velocity of that point of the secondary, from the barycentre."""
    turning = np.cross(rotation(state.attitude2) @ state.rate2_rad_s, _lever(state, impact))
    return system.primary.mass_kg / system.mass_kg * state.velocity_m_s + turning


def turns_deg(before: tuple, after: tuple) -> dict[str, np.ndarray]:
    """How an impact turns the plane of the orbit, and the axis about which the plane then precesses, by the names of
    the outcomes: angles between the orbits' normals r x v, and between the total angular momenta.

    Each side: primary, secondary and state y (20, ...) as State.vector, at the impact.  The orbit's normal circles the
    total after the impact, not the normal of before: so the second angle is no part of the precession that follows.
    """
    parts = [angular_momenta(*side) for side in (before, after)]
    orbits, totals = [part[0] for part in parts], [part.sum(axis=0) for part in parts]
    return {"orbit_plane_change_deg": angle_deg(*orbits), "angular_momentum_tilt_deg": angle_deg(*totals)}
