"""Mass that joins and leaves the secondary at an impact: its mass, centre, inertia and motion as they are then.

Mass m that joins (negative: leaves) at s moves with the ground there, v2 + w x s, so that it changes no motion: with
M' = M2 + m the centre of what stays is off by d = (m/M') s and has the velocity w x d on top; momentum that is brought
or carried away beyond that acts at s as ever (momentum.py).  Together

    M' dv = m_i U - p - m_e w x s,    I' w' = I w + m (M2/M') s x (w x s) + (s - d) x K,    K = M' (dv - w x d)

with p the momentum of the ejecta m_e from the ground, so that mass, momentum, angular momentum and centre of mass of
the secondary and all that left it close (tests/test_masses.py).  What falls back lies evenly over the secondary: it
takes mass away from the site and leaves centre, momentum and angular momentum of the whole as they were.

Valid where all of it leaves from about one point within minutes: mass out of a crater of radius R comes from places
some R/2 about the site, and what goes about both bodies before it falls back is counted by its share alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from ...bodies import Altered
from ...columns import cross, length, turned
from ...errors import InputError
from ...kinds import sure
from ...motion.state import State, System
from ...scenario.side_by_side import Varied
from ...vectors import rotation
from ..hits import Arrivals
from ..momentum import MomentumAudit

LARGEST_SHARE = 0.1
"""Of the secondary's mass, that may leave from a point: more is no crater, and would need another inertia."""
WORTH_A_WARNING = 0.01
"""Of it, above which the mass comes from places too wide apart to be a point, to some per cent of its effect."""


@dataclass(frozen=True)
class Masses:
    """kg, of one hit or (n,): of the impactor and of boulders as they join or leave, of ejecta that leave for good, and
    of those that fall back."""

    impactor_kg: Any
    ejecta_kg: Any
    returned_kg: Any
    boulders_kg: Any

    @property
    def gone_kg(self) -> Any:
        """What leaves for good."""
        return self.ejecta_kg + self.boulders_kg

    @property
    def gained_kg(self) -> Any:
        """What the secondary gains, negative for a loss."""
        return self.impactor_kg - self.gone_kg

    @property
    def some(self) -> bool:
        """Whether any mass changes its place."""
        return any(np.any(part) for part in vars(self).values())

    def at(self, i: int) -> Masses:
        """Of one of them."""
        return Masses(*(float(part[i]) for part in vars(self).values()))


def masses_of(given: Varied, found: Arrivals | None, mass_kg: float | np.ndarray) -> Masses | None:
    """(n,) by [mass_exchange], on secondaries of these masses; None without that table, or without any mass.

    found: the impactors, of which those that graze throw nothing off; None where there are none.
    """
    table = given.stated("mass_exchange")
    if table is None:
        return None
    stated, share = given["mass_exchange.ejecta_kg"], given["mass_exchange.returned_share"]
    launched: Any = np.nan_to_num(stated)
    returned: Any = np.nan_to_num(stated * share)
    if table.ejecta_kg is None and given.stated("momentum_transfer.material"):
        scaled = sure(found).yields(mass_kg)
        launched = scaled.launched_kg
        returned = launched - scaled.lost_kg if table.returned_share is None else launched * share
    nothing = np.zeros(given.count)
    boulders = nothing.copy()
    for row in range(len(given.stated("boulders") or ())):
        boulders = boulders + given[f"boulders.{row}.mass_kg"]
    joins: Any = given["impactor.mass_kg"] if found and table.impactor == "added" else nothing
    out = nothing + 1.0 if found is None else np.where(found.grazing, 0.0, 1.0)
    masses = Masses(joins + nothing, out * (launched - returned), out * returned, out * boulders)
    return masses if masses.some else None


@dataclass(frozen=True)
class Exchange:
    """The secondary after the exchange: `system` in the state that the exchange alone leaves, before any impulse.

    point_m (3,): where mass was exchanged, from the new centre in the new frame.  Inertial (3,): ground_m_s of that
    point from the old centre, shift_m of the centre, dv_m_s of its velocity by the exchange alone.  turned_deg: of the
    principal axes.  centred: whether beta counts the ejecta's velocities from the secondary's centre.
    """

    masses: Masses
    system: System
    point_m: np.ndarray
    ground_m_s: np.ndarray
    shift_m: np.ndarray
    dv_m_s: np.ndarray
    turned_deg: float
    centred: bool

    @property
    def state(self) -> State:
        """Just after the exchange."""
        return self.system.state

    def brought_kg_m_s(self, momentum_kg_m_s: np.ndarray) -> np.ndarray:
        """What the impactor brings beyond the motion of the ground that it joins, of its m U."""
        return momentum_kg_m_s - self.masses.impactor_kg * self.ground_m_s

    def carried_kg_m_s(self, momentum_kg_m_s: np.ndarray) -> np.ndarray:
        """What ejecta and boulders carry away beyond it.

        Boulders' velocities are from the secondary's centre, those of ejecta by default from the ground.
        """
        counted = self.masses.boulders_kg + (self.masses.ejecta_kg if self.centred else 0.0)
        return momentum_kg_m_s - counted * self.ground_m_s

    def audited(self, audit: MomentumAudit, old: System, before: State, after: State) -> MomentumAudit:
        """With the barycentre that the mass takes along, told from where it was at rest before: of the bodies as they
        are then, once all that leaves is far away."""
        share, mass, gone = old.primary.mass_kg / old.mass_kg, self.system.mass_kg, self.masses.gone_kg
        moonlet, joins = share * before.velocity_m_s, self.masses.impactor_kg
        brought = audit.impactor_kg_m_s + joins * (moonlet + self.ground_m_s)
        launched = audit.ejecta_kg_m_s + gone * (moonlet + self.ground_m_s)
        dv = (brought - audit.pair_ejecta_kg_m_s) / mass
        primary = (share - 1.0) * before.velocity_m_s
        bodies = self.system.primary.mass_kg * primary
        bodies = bodies + self.system.secondary.mass_kg * (primary + after.velocity_m_s)
        off = length(mass * dv - bodies - (launched - audit.pair_ejecta_kg_m_s))
        scale = length(brought) + length(launched) + self.system.reduced_mass_kg * length(after.velocity_m_s)
        return replace(audit, barycentre_dv_m_s=dv, pair_residual=float(off / scale))

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Where a point is a rough picture."""
        share = (self.masses.gone_kg + self.masses.returned_kg) / self.system.secondary.mass_kg
        if share <= WORTH_A_WARNING:
            return ()
        return (
            f"{100.0 * share:.2g} % of the secondary's mass leaves the site, above {100.0 * WORTH_A_WARNING:g} %: it "
            "is taken from one point, and comes from a wide crater",
        )


def exchanged(system: System, before: State, point_m: np.ndarray, masses: Masses, frame: str = "ground") -> Exchange:
    """Masses of one hit join and leave the secondary of a system in a state, at a point (3,) of its frame.

    frame: of the ejecta's velocities, `ground` or `centre`.  InputError for more than a tenth of its mass.
    """
    body: Any = system.secondary
    gained, m2 = masses.gained_kg, system.secondary.mass_kg
    if (share := (masses.gone_kg + masses.returned_kg) / m2) > LARGEST_SHARE or masses.impactor_kg > LARGEST_SHARE * m2:
        raise InputError(
            "mass_exchange",
            f"{max(share, masses.impactor_kg / m2):.3g} of the secondary's mass joins or leaves at a point, allowed is "
            f"at most {LARGEST_SHARE:g}; lower it, or give [reshaping] and a lighter secondary",
        )
    new = Altered.of(body, point_m, gained - masses.returned_kg, masses.returned_kg)
    turn, _ = new.seen_from(body)
    d, w, to_inertial = gained / new.mass_kg * point_m, before.rate2_rad_s, rotation(before.attitude2)
    spin = body.inertia_kg_m2 * w + gained * m2 / new.mass_kg * cross(point_m, cross(w, point_m))
    shift, dv = turned(to_inertial, d), turned(to_inertial, cross(w, d))
    state = replace(
        before,
        position_m=before.position_m + shift,
        velocity_m_s=before.velocity_m_s + dv,
        attitude2=_turned_attitude(to_inertial @ turn.T, before.attitude2),
        rate2_rad_s=(turn @ spin) / new.inertia_kg_m2,
    )
    cosine = np.clip(0.5 * (np.trace(turn) - 1.0), -1.0, 1.0)
    return Exchange(
        masses=masses,
        system=replace(system, secondary=new, state=state),
        point_m=turn @ (point_m - d),
        ground_m_s=turned(to_inertial, cross(w, point_m)),
        shift_m=shift,
        dv_m_s=dv,
        turned_deg=float(np.degrees(np.arccos(cosine))),
        centred=frame == "centre",
    )


def _turned_attitude(axes: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Quaternion of axes (3, 3), body -> inertial, with the sign of one nearby."""
    from scipy.spatial.transform import Rotation

    quaternion = Rotation.from_matrix(axes).as_quat(scalar_first=True)
    return quaternion if quaternion @ near >= 0.0 else -quaternion
