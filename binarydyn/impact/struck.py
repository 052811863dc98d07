"""What an impact does to the secondary that it hits: what it brings, what it sets free, and the state after it."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from ..columns import dot, turned, turned_back
from ..errors import InputError
from ..kinds import sure
from ..motion.state import State, System
from ..notebook import Displayed
from ..scenario import (
    Boulder,
    Impactor,
    MassExchange,
    MomentumTransfer,
    MutualOrbit,
    Reshaping,
    Sampling,
    Scenario,
    VelocityChange,
)
from ..scenario.side_by_side import Varied
from .books.masses import Exchange, exchanged, masses_of
from .boulders import Thrown, boulders_thrown
from .footprint import normal_radius_m
from .frame import orbit_axes
from .hits import NOTHING, PUSH, Arrivals, arrivals, grazing_reason
from .momentum import MomentumAudit, momentum_audit, pushed
from .release import Released, ejecta_released
from .reshaping import Reshaped
from .site import Site

OBLIQUE_DEG = 60.0
"""Beyond this incidence point-source scaling is not tried by experiment (common practice); skipping off comes later, at
`grazing_deg`."""
DISRUPTION_J_KG = 100.0
"""Kinetic energy per mass of the target from which disruption is to be thought of: a cautious lower edge.  Basalt of 50
to 75 m radius takes 390 to 430 J/kg at 5 km/s and 133 to 146 at 3 km/s (Benz & Asphaug 1999, Icarus 142, 5)."""
MASS_SHARE = 1e-3
"""m/M2 above which the neglected mass of the impactor shows in the third digit of dv."""


@dataclass(frozen=True)
class ImpactSpec:
    """What hits or pushes the secondary: the scenario's tables of these names without the rest of a scenario.

    mutual_orbit is asked only for the pole, by directions on the ecliptic, sampling for the spread of beta.
    """

    impactor: Impactor | None = None
    momentum_transfer: MomentumTransfer = field(default_factory=MomentumTransfer)
    velocity_change: VelocityChange | None = None
    mutual_orbit: MutualOrbit | None = None
    sampling: Sampling | None = None
    boulders: tuple[Boulder, ...] = ()
    mass_exchange: MassExchange | None = None
    reshaping: Reshaping | None = None

    @classmethod
    def of(cls, scenario: Scenario | ImpactSpec, **changes) -> ImpactSpec:
        """The tables of a scenario or of another spec, but for `changes` by their names."""
        return cls(**{each.name: getattr(scenario, each.name) for each in fields(cls)} | changes)

    def __post_init__(self):
        if self.impactor and self.velocity_change:
            raise InputError(
                "velocity_change",
                "impactor and velocity change are both given, at most one is allowed; remove one of them",
            )


@dataclass(frozen=True, eq=False, repr=False)
class Impact(Displayed):
    """What the impact did.  Vectors (3,); zero momentum and the state unchanged if status is `miss` or `none`.

    status: `hit`, `grazing`, `miss`, `velocity_change` (a velocity change was given), `reshaped` (only the shapes
    change), `mass_exchange` (only mass leaves) or `none` (nothing was given).  state: just after; system: the system
    after, in that state and with its new shapes and masses; the one that was given where nothing happened.  released:
    the ejecta; thrown: the boulders; exchange: mass that joins and leaves; None without any.  dv: change of the
    velocity of the secondary's centre and so of r', inertial and in orbit axes at the state before; spin_change in the
    body frame, by the impulse (a new shape changes the rate once more: reshaped); momentum received, inertial, beyond
    what mass that joins or leaves has of the ground's motion; kept_dv: dv of a secondary that keeps mass and centre.
    target: the body that is hit, of which site, spin_change, momentum and exchange are; dv is of r' also then, minus
    that of the primary.  mirror: the same hit of a primary with the bodies in each other's places.
    brought: m U of the impactor, and the surface normal, both inertial, zero without an impact.
    beta_along_normal: received over brought along the surface normal, equal to beta where the ejecta leave along it and
    no boulders do; None without an impact, like site.
    """

    status: str
    reason: str
    state: State
    site: Site | None
    dv_m_s: np.ndarray
    dv_along_track_mm_s: float
    dv_radial_mm_s: float
    dv_normal_mm_s: float
    spin_change_rad_s: np.ndarray
    momentum_kg_m_s: np.ndarray
    brought_kg_m_s: np.ndarray
    normal: np.ndarray
    kept_dv_m_s: np.ndarray
    beta_along_normal: float | None
    released: Released | None
    audit: MomentumAudit
    system: System
    thrown: Thrown | None = None
    exchange: Exchange | None = None
    reshaped: Reshaped | None = None
    warnings: tuple[str, ...] = ()
    target: str = "secondary"
    mirror: Impact | None = None

    @property
    def happened(self) -> bool:
        """Whether anything hit, pushed or changed its shape."""
        return self.status not in ("miss", "none")

    def _line(self) -> str:
        along_track, radial, normal = self.dv_along_track_mm_s, self.dv_radial_mm_s, self.dv_normal_mm_s
        dv = f"dv {along_track:.4f} mm/s along track, {radial:.4f} radial, {normal:.4f} normal"
        return f"{self.status}: {dv}; {self.reason}"

    def _facts(self) -> dict[str, Any]:
        dv = ("dv_along_track_mm_s", "dv_radial_mm_s", "dv_normal_mm_s")
        rest = ("beta_along_normal", "spin_change_rad_s", "momentum_kg_m_s", "site", "warnings")
        return {name: getattr(self, name) for name in ("status", "reason", *dv, *rest)}


def struck(system: System, before: State, given: Scenario | ImpactSpec) -> Impact:
    """What the momentum does to bodies that keep their shapes."""
    one = Varied(given, {}, 1)
    if given.impactor is not None:
        return _hit(system, before, one)
    met = _Met()
    if masses := masses_of(one, None, system.secondary.mass_kg):
        point = np.array(sure(given.mass_exchange).from_m)
        met = _Met(exchange=exchanged(system, before, point, masses.at(0)))
    if given.velocity_change is None:
        how = ("mass_exchange", "nothing hits; mass leaves") if masses else ("none", NOTHING)
        return _impact(*how, system, before, np.zeros(3), met)
    dv = 1e-3 * turned_back(orbit_axes(before), one.vector("velocity_change", *PUSH)[:, 0])
    reason = "the velocity change is given; it acts at the centre of mass and turns nothing"
    pushes = met.exchange.system if met.exchange else system
    return _impact("velocity_change", reason, system, before, pushes.secondary.mass_kg * dv, met)


def _hit(system: System, before: State, one: Varied) -> Impact:
    """As of hits.py, with what else is known of a single one; a grazing impact throws nothing back."""
    orbit_axes(before)  # refuses a state that spans no plane
    given, body = one.scenario, system.secondary
    found = arrivals(one, system.primary, body, before.vector[:, None])
    if not found.sites.met[0]:
        return _impact("miss", found.sites.why[0], system, before, np.zeros(3))
    flight = turned_back(found.to_inertial, found.flight)[:, 0]
    site = found.sites.one(0, flight, normal_radius_m(body, given.impactor, given.momentum_transfer))
    momentum, normal = found.brought_kg_m_s[:, 0], found.normal[:, 0]
    counted = given.mass_exchange is not None
    warnings = _warnings(given.impactor, given.momentum_transfer, site, body.mass_kg, counted)
    if found.grazing[0]:
        reason = grazing_reason(site.point_m, site.incidence_deg, given.impactor.grazing_deg)
        nothing = Released(normal, np.zeros(3), np.zeros(3), 1.0, 1.0, None)
        met = _Met(site, nothing, None, _exchange(system, before, found), 1.0, (*warnings, reason), normal)
        return _impact("grazing", reason, system, before, momentum, met)
    released = ejecta_released(system, before, given, site, momentum, found.ejecta[:, 0])
    warnings += released.scaled.warnings if released.scaled else ()
    thrown, away = None, released.momentum_kg_m_s
    if given.boulders:
        thrown = boulders_thrown(system, before, found)
        warnings += thrown.warnings
        away = away + thrown.momentum_kg_m_s
    beta_along_normal = float(dot(momentum - away, normal) / dot(momentum, normal))
    reason = f"hit at longitude {site.longitude_deg:.2f}, latitude {site.latitude_deg:.2f} deg"
    met = _Met(site, released, thrown, _exchange(system, before, found), beta_along_normal, warnings, normal)
    return _impact("hit", reason, system, before, momentum, met)


def _exchange(system: System, before: State, found: Arrivals) -> Exchange | None:
    """Mass that the one impactor brings and throws off."""
    if not (masses := masses_of(found.given, found, system.secondary.mass_kg)):
        return None
    frame = found.given.stated("mass_exchange").beta_frame
    return exchanged(system, before, found.sites.point_m[:, 0], masses.at(0), frame)


def _warnings(
    impactor: Impactor, transfer: MomentumTransfer, site: Site, mass_kg: float, counted: bool
) -> tuple[str, ...]:
    """Where the momentum transfer is outside its validity; counted: whether masses are."""
    specific = 0.5 * impactor.mass_kg * (1e3 * impactor.speed_km_s) ** 2 / mass_kg
    said = []
    if site.incidence_deg > OBLIQUE_DEG:
        said.append(
            f"oblique impact: {site.incidence_deg:.1f} deg from the normal, beyond {OBLIQUE_DEG:g} deg the scaling of "
            "ejecta, and so beta, is outside its validity"
        )
    if specific > DISRUPTION_J_KG:
        said.append(
            f"the impact brings {specific:.3g} J per kg of the secondary; above {DISRUPTION_J_KG:g} J/kg, a cautious "
            "lower edge, disruption cannot be excluded, and a secondary that does not stay whole is outside validity"
        )
    if not counted and impactor.mass_kg > MASS_SHARE * mass_kg:
        said.append(
            f"the impactor has {impactor.mass_kg / mass_kg:.3g} of the secondary's mass, above {MASS_SHARE:g}; "
            "the mass that stays in the secondary is neglected; [mass_exchange] counts it"
        )
    if not transfer.material and transfer.beta < 1.0:
        said.append(f"beta {transfer.beta:g} is below 1: the ejecta would carry momentum onwards, not back")
    return tuple(said)


@dataclass(frozen=True)
class _Met:
    """What an impact meets with and sets free; nothing where momentum acts at the centre of mass."""

    site: Site | None = None
    released: Released | None = None
    thrown: Thrown | None = None
    exchange: Exchange | None = None
    beta_along_normal: float | None = None
    warnings: tuple[str, ...] = ()
    normal: np.ndarray = field(default_factory=lambda: np.zeros(3))

    def carried(self, name: str) -> np.ndarray:
        """(3,) kg m/s of ejecta and boulders together, by the name that both have for it."""
        return sum((getattr(carrier, name) for carrier in (self.released, self.thrown) if carrier), np.zeros(3))

    @property
    def point_m(self) -> np.ndarray:
        """(3,) where momentum acts, in the frame of the secondary as it is when it does."""
        if self.site is None:
            return np.zeros(3)
        return self.exchange.point_m if self.exchange else self.site.point_m


def _impact(
    status: str, reason: str, system: System, before: State, momentum: np.ndarray, met: _Met | None = None
) -> Impact:
    """The result of momentum brought and carried away; without a site it acts at the centre of mass."""
    met = met or _Met()
    ejecta, leaves = (met.carried(name) for name in ("momentum_kg_m_s", "pair_momentum_kg_m_s"))
    exchange, old, start, brought = met.exchange, system, before, momentum
    dv, kept_dv = np.zeros(3), (momentum - ejecta) / system.secondary.mass_kg
    if exchange:
        system, start, dv = exchange.system, exchange.state, exchange.dv_m_s
        if met.site:
            momentum, ejecta = exchange.brought_kg_m_s(momentum), exchange.carried_kg_m_s(ejecta)
        else:
            kept_dv = momentum / system.secondary.mass_kg
    received = momentum - ejecta
    pushes = bool(received.any())
    after = pushed(system, start, received, met.point_m) if pushes else start
    dv = dv + received / system.secondary.mass_kg if exchange else received / system.secondary.mass_kg
    changed = bool(dv.any())
    along_track, radial, normal = 1e3 * turned(orbit_axes(before), dv) if changed else np.zeros(3)
    audit = momentum_audit(
        system.primary, system.secondary, start.vector, after.vector, momentum, ejecta, met.point_m, leaves
    )
    return Impact(
        status=status,
        reason=reason,
        state=after,
        site=met.site,
        dv_m_s=dv,
        dv_along_track_mm_s=float(along_track),
        dv_radial_mm_s=float(radial),
        dv_normal_mm_s=float(normal),
        spin_change_rad_s=after.rate2_rad_s - start.rate2_rad_s,
        momentum_kg_m_s=received,
        brought_kg_m_s=brought,
        normal=met.normal,
        kept_dv_m_s=kept_dv,
        beta_along_normal=met.beta_along_normal,
        released=met.released,
        audit=exchange.audited(audit, old, before, after) if exchange else audit,
        system=system,
        thrown=met.thrown,
        exchange=exchange,
        warnings=met.warnings + (exchange.warnings if exchange else ()),
    )
