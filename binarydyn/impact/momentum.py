"""How much momentum the moonlet receives, what that does to its velocity and spin, and whether the books balance.

M2 dv = m U + m (beta - 1) (E.U) E  (Cheng et al. 2023, Nature 616, 457, eq. 1, doi 10.1038/s41586-023-05878-z) and
I2 dw = l x (M2 dv), with all momentum acting at the impact point l.

Valid for a push that is over before the moonlet has moved or turned (most of the momentum leaves with the fast ejecta,
within seconds), and while the mass that stays or leaves is small: the impactor's m is not added to M2, which
changes dv by the share m/M2 (1e-7 for half a tonne on 4e9 kg), and inertia and centre of mass are kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..columns import cross, dot, turned_back
from ..motion.state import State, System
from ..vectors import rotation_of_quaternion


@dataclass(frozen=True)
class MomentumAudit:
    """Books of an impact from the states before and after it; vectors (3,) in the inertial frame.

    impactor = brought by the impactor, ejecta = carried away from the moonlet, in its frame, pair_ejecta = carried away
    from the pair, in the frame of its barycentre, received = M2 times the change of the moonlet's velocity;
    barycentre_dv is that of the pair with the ejecta that stay in it.  Energies in the frame where the barycentre was
    at rest before, of the two bodies just after; rotational: of the moonlet (the primary's spin does not change).

    With J = impactor - ejecta: linear_residual |received - J|; pair_residual |(M1 + M2) barycentre_dv - received -
    (ejecta - pair_ejecta)|, as the pair receives what the moonlet does and what its ejecta leave behind;
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
        """Gain of the pair, orbit + rotation + barycentre; positions, and so the potential, do not change."""
        orbital = self.orbital_kinetic_after_J - self.orbital_kinetic_before_J
        return orbital + self.rotational_after_J - self.rotational_before_J + self.barycentre_kinetic_after_J


def rotation(attitude: np.ndarray) -> np.ndarray:
    """(3, 3) body -> inertial of a quaternion."""
    return np.array(rotation_of_quaternion(*(float(q) for q in attitude))).reshape(3, 3)


def ejecta_momentum(impactor_kg_m_s: np.ndarray, beta: float | np.ndarray, ejecta_direction: np.ndarray) -> np.ndarray:
    """(3,) or (3, n) kg m/s that the ejecta carry away, -(beta - 1) (E . m U) E; E unit, whose sign does not matter."""
    return -(beta - 1.0) * dot(ejecta_direction, impactor_kg_m_s) * ejecta_direction


def spin_change(body, to_inertial: np.ndarray, momentum_kg_m_s: np.ndarray, point_m: np.ndarray) -> np.ndarray:
    """(3,) or (3, n) rad/s in the body frame by momentum, inertial, that arrives at a point of the body frame."""
    return cross(point_m, turned_back(to_inertial, momentum_kg_m_s)) / body.inertia_kg_m2


def pushed(system: System, before: State, momentum_kg_m_s: np.ndarray, point_m: np.ndarray) -> State:
    """The state after momentum (3,), inertial, was given to the secondary at a point (3,) of its body frame.

    r' = v2 - v1 and the primary is not pushed, so r' changes by all of dv; positions and attitudes stay.
    """
    body = system.secondary
    turn = spin_change(body, rotation(before.attitude2), momentum_kg_m_s, point_m)
    return State(
        before.position_m,
        before.velocity_m_s + momentum_kg_m_s / body.mass_kg,
        before.attitude1,
        before.rate1_rad_s,
        before.attitude2,
        before.rate2_rad_s + turn,
    )


def momentum_audit(
    system: System,
    before: State,
    after: State,
    impactor_kg_m_s: np.ndarray,
    ejecta_kg_m_s: np.ndarray,
    point_m: np.ndarray,
    pair_ejecta_kg_m_s: np.ndarray | None = None,
) -> MomentumAudit:
    """Compare two states with the momentum (3,), inertial, that was brought to and carried away from a point (3,)
    of the secondary's body frame; pair_ejecta is what leaves the pair, by default all of it."""
    m, m2 = system.reduced_mass_kg, system.secondary.mass_kg
    share = system.primary.mass_kg / system.mass_kg
    inertia, to_inertial = system.secondary.inertia_kg_m2, rotation(before.attitude2)
    r, v, w, dv = before.position_m, before.velocity_m_s, before.rate2_rad_s, after.velocity_m_s - before.velocity_m_s
    dw = after.rate2_rad_s - w
    given = impactor_kg_m_s - ejecta_kg_m_s
    received, both_dv = m2 * dv, given / system.mass_kg
    leaves = ejecta_kg_m_s if pair_ejecta_kg_m_s is None else pair_ejecta_kg_m_s
    barycentre_dv = (impactor_kg_m_s - leaves) / system.mass_kg

    # The primary's spin may be hundreds of times the change: differences are taken part by part.
    angular_change = m * np.cross(r, dv) + to_inertial @ (inertia * dw)
    impact_point = share * r + to_inertial @ point_m
    angular_scale = np.linalg.norm(impact_point) * np.linalg.norm(given)
    angular_scale += m * np.linalg.norm(np.cross(r, v)) + np.linalg.norm(inertia * w)

    orbital = [0.5 * m * (u @ u) for u in (v, after.velocity_m_s)]
    rotational = [0.5 * (u @ (inertia * u)) for u in (w, after.rate2_rad_s)]
    barycentre = 0.5 * system.mass_kg * (both_dv @ both_dv)
    # Mean of the impact point's velocities before and after.
    point_velocity = share * (v + 0.5 * dv) + 0.5 * both_dv + to_inertial @ np.cross(w + 0.5 * dw, point_m)
    energy_change = orbital[1] - orbital[0] + rotational[1] - rotational[0] + barycentre
    energy_scale = sum(orbital) + sum(rotational) + barycentre

    linear_scale = np.linalg.norm(given) + m * np.linalg.norm(v)
    pair_difference = system.mass_kg * barycentre_dv - received - (ejecta_kg_m_s - leaves)
    return MomentumAudit(
        impactor_kg_m_s=impactor_kg_m_s,
        ejecta_kg_m_s=ejecta_kg_m_s,
        pair_ejecta_kg_m_s=leaves,
        received_kg_m_s=received,
        barycentre_dv_m_s=barycentre_dv,
        angular_momentum_change_kg_m2_s=angular_change,
        orbital_kinetic_before_J=float(orbital[0]),
        orbital_kinetic_after_J=float(orbital[1]),
        rotational_before_J=float(rotational[0]),
        rotational_after_J=float(rotational[1]),
        barycentre_kinetic_after_J=float(barycentre),
        linear_residual=float(np.linalg.norm(received - given) / linear_scale),
        pair_residual=float(np.linalg.norm(pair_difference) / linear_scale),
        angular_residual=float(np.linalg.norm(angular_change - np.cross(impact_point, given)) / angular_scale),
        energy_residual=float(abs(energy_change - given @ point_velocity) / energy_scale),
    )
