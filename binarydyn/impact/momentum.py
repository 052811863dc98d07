"""How much momentum the secondary receives, what that does to its velocity and spin, and whether the books balance.

M2 dv = m U + m (beta - 1) (E.U) E  (Cheng et al. 2023, Nature 616, 457, eq. 1, doi 10.1038/s41586-023-05878-z) and
I2 dw = l x (M2 dv), with all momentum acting at the impact point l.

Valid for a velocity change that is over before the secondary has moved or turned (most of the momentum leaves with the
fast ejecta, within seconds).  Without [mass_exchange] (books/masses.py) the mass that stays or leaves is neglected: the
impactor's m is not added to M2, which changes dv by the share m/M2 (1e-7 for half a tonne on 4e9 kg), and inertia and
centre of mass are kept.

Of one system or of many side by side: states y (20,) or (20, n) as State.vector, vectors (3,) or (3, n); bodies have
mass_kg and inertia_kg_m2, () and (3,) or (n,) and (3, n).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..columns import cross, dot, length, turned, turned_back
from ..motion.layout import ATTITUDE2, POSITION, RATE2, VELOCITY
from ..motion.state import State, System
from ..vectors import rotation


@dataclass(frozen=True)
class MomentumAudit:
    """Books of an impact from the states before and after it; vectors (3,) in the inertial frame, (3, n) of many.

    impactor = brought by the impactor, ejecta = carried away from the secondary, in its frame, pair_ejecta = carried
    away from the system, in the frame of its barycentre, received = M2 times the change of the secondary's velocity;
    barycentre_dv is that of the system with the ejecta that stay in it.  Energies in the frame where the barycentre was
    at rest before, of the two bodies just after; rotational: of the secondary (the primary's spin does not change).

    With J = impactor - ejecta: linear_residual |received - J|; pair_residual |(M1 + M2) barycentre_dv - received -
    (ejecta - pair_ejecta)|, as the system receives what the secondary does and what its ejecta leave behind;
    angular_residual |dH - r_impact x J|, about the barycentre; energy_residual |dE - J.(u + u')/2|, the work of an
    impulse whose point has the velocities u and u' before and after.  Each is relative to what is given plus what the
    state holds already, because a state stores no finer digits than those of its own velocity and spin.
    """

    impactor_kg_m_s: np.ndarray
    ejecta_kg_m_s: np.ndarray
    pair_ejecta_kg_m_s: np.ndarray
    received_kg_m_s: np.ndarray
    barycentre_dv_m_s: np.ndarray
    angular_momentum_change_kg_m2_s: np.ndarray
    orbital_kinetic_before_J: float
    orbital_kinetic_after_J: float
    rotational_before_J: float
    rotational_after_J: float
    barycentre_kinetic_after_J: float
    linear_residual: float
    pair_residual: float
    angular_residual: float
    energy_residual: float

    @property
    def energy_change_J(self) -> float:
        """Gain of the system, orbit + rotation + barycentre; positions, and so the potential, do not change."""
        orbital = self.orbital_kinetic_after_J - self.orbital_kinetic_before_J
        return orbital + self.rotational_after_J - self.rotational_before_J + self.barycentre_kinetic_after_J


def ejecta_momentum(impactor_kg_m_s: np.ndarray, beta: float | np.ndarray, ejecta_direction: np.ndarray) -> np.ndarray:
    """kg m/s that the ejecta carry away, -(beta - 1) (E . m U) E; E unit, whose sign does not matter."""
    return -(beta - 1.0) * dot(ejecta_direction, impactor_kg_m_s) * ejecta_direction


def with_momentum(body, y: np.ndarray, momentum_kg_m_s: np.ndarray, point_m: np.ndarray) -> np.ndarray:
    """The states after momentum, inertial, was given to the secondaries at points of their body frames.

    r' = v2 - v1 and the primary is not pushed, so r' changes by all of dv; positions and attitudes stay.
    """
    after = y.copy()
    after[VELOCITY] += momentum_kg_m_s / body.mass_kg
    after[RATE2] += cross(point_m, turned_back(rotation(y[ATTITUDE2]), momentum_kg_m_s)) / body.inertia_kg_m2
    return after


def pushed(system: System, before: State, momentum_kg_m_s: np.ndarray, point_m: np.ndarray) -> State:
    """The same of one system in a state."""
    y = with_momentum(system.secondary, before.vector, momentum_kg_m_s, point_m)
    return replace(before, velocity_m_s=y[VELOCITY], rate2_rad_s=y[RATE2])


def momentum_audit(
    primary,
    secondary,
    before: np.ndarray,
    after: np.ndarray,
    impactor_kg_m_s: np.ndarray,
    ejecta_kg_m_s: np.ndarray,
    point_m: np.ndarray,
    pair_ejecta_kg_m_s: np.ndarray | None = None,
) -> MomentumAudit:
    """Compare states y with the momenta, inertial, that were brought to and carried away from points of the
    secondaries' body frames; pair_ejecta is what leaves the system, by default all of it."""
    mass, m2, inertia = primary.mass_kg + secondary.mass_kg, secondary.mass_kg, secondary.inertia_kg_m2
    share, to_inertial = primary.mass_kg / mass, rotation(before[ATTITUDE2])
    m = share * m2
    r, v, w = before[POSITION], before[VELOCITY], before[RATE2]
    dv, dw = after[VELOCITY] - v, after[RATE2] - w
    given = impactor_kg_m_s - ejecta_kg_m_s
    received, both_dv = m2 * dv, given / mass
    leaves = ejecta_kg_m_s if pair_ejecta_kg_m_s is None else pair_ejecta_kg_m_s
    barycentre_dv = (impactor_kg_m_s - leaves) / mass

    # The primary's spin may be hundreds of times the change: differences are taken part by part.
    angular_change = m * cross(r, dv) + turned(to_inertial, inertia * dw)
    impact_point = share * r + turned(to_inertial, point_m)
    angular_scale = length(impact_point) * length(given) + m * length(cross(r, v)) + length(inertia * w)

    orbital: list[Any] = [0.5 * m * dot(u, u) for u in (v, after[VELOCITY])]
    rotational: list[Any] = [0.5 * dot(u, inertia * u) for u in (w, after[RATE2])]
    barycentre = 0.5 * mass * dot(both_dv, both_dv)
    # Mean of the impact point's velocities before and after.
    point_velocity = share * (v + 0.5 * dv) + 0.5 * both_dv + turned(to_inertial, cross(w + 0.5 * dw, point_m))
    energy_change = orbital[1] - orbital[0] + rotational[1] - rotational[0] + barycentre
    energy_scale = sum(orbital) + sum(rotational) + barycentre

    linear_scale = length(given) + m * length(v)
    pair_difference = mass * barycentre_dv - received - (ejecta_kg_m_s - leaves)
    return MomentumAudit(
        impactor_kg_m_s=impactor_kg_m_s,
        ejecta_kg_m_s=ejecta_kg_m_s,
        pair_ejecta_kg_m_s=leaves,
        received_kg_m_s=received,
        barycentre_dv_m_s=barycentre_dv,
        angular_momentum_change_kg_m2_s=angular_change,
        orbital_kinetic_before_J=orbital[0],
        orbital_kinetic_after_J=orbital[1],
        rotational_before_J=rotational[0],
        rotational_after_J=rotational[1],
        barycentre_kinetic_after_J=barycentre,
        linear_residual=length(received - given) / linear_scale,
        pair_residual=length(pair_difference) / linear_scale,
        angular_residual=length(angular_change - cross(impact_point, given)) / angular_scale,
        energy_residual=abs(energy_change - dot(given, point_velocity)) / energy_scale,
    )
