"""How an impact acts on the orbit, before beta is known: flight U and ejecta axis E in orbit axes, and beta from the
velocity change.

Equation 1 of momentum.py along the track, solved for beta:
beta = 1 + [(M2 dv_t - R.t)/m - U.t] / [(E.U) (E.t)], R the recoil from boulders, which are stated and not in beta, and
from ejecta that have the motion of the turning ground; M2 is that of what stays (books/masses.py).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, cast

import numpy as np

from ..bodies import Ellipsoid
from ..columns import cross, turned
from ..errors import InputError
from ..kinds import sure
from ..motion.state import System
from ..scenario import Scenario
from ..scenario.side_by_side import Varied
from .books.masses import Masses, masses_of
from .boulders import boulder_momenta
from .hits import Arrivals, arrivals

_OF_SITE = ("impactor.direction", "impactor.site", "impactor.aim", "mutual_orbit.pole", "mutual_orbit.node")
_OF_GROUND = ("secondary.semi_axes", "secondary.axis_ratio", "secondary.volume")
_OF_REST = ("momentum_transfer.ejecta", "boulders.")
_OF_MASSES = ("mass_exchange.", "momentum_transfer.", "impactor.")


@dataclass(frozen=True)
class Leverage:
    """Unit vectors (n, 3) along-track, radial, normal: flight of the impactor, axis of the ejecta (either sign).

    point_m (n, 3): the site in the secondary's frame.  recoil_kg_m_s (n, 3): momentum from boulders that are thrown
    off, and from the motion of the ground that ejecta have, orbit axes.  hit (n,): False where the secondary is missed
    or grazed; the rest of such a row means nothing.  normal (n, 3): of the ground, unit, and ground_kg_m_s (n, 3): the
    ground's motion that ejecta have, orbit axes.  masses: what joins and leaves (n,), None for nothing.
    """

    flight: np.ndarray
    ejecta: np.ndarray
    point_m: np.ndarray
    recoil_kg_m_s: np.ndarray
    hit: np.ndarray
    normal: np.ndarray = field(default_factory=lambda: np.full((1, 3), np.nan))
    ground_kg_m_s: np.ndarray = field(default_factory=lambda: np.zeros((1, 3)))
    masses: Masses | None = None

    @property
    def gained_kg(self) -> float | np.ndarray:
        """(n,) mass that the secondary gains, negative for a loss."""
        return self.masses.gained_kg if self.masses else 0.0

    @property
    def strength(self) -> np.ndarray:
        """(n,) (E.U)(E.t) over U: along-track velocity change for each unit of beta - 1, in units of m U / M2."""
        return np.einsum("ij,ij->i", self.ejecta, self.flight) * self.ejecta[:, 0]

    def beta(self, dv_m_s: np.ndarray, mass_kg: np.ndarray, momentum_kg_m_s: np.ndarray) -> np.ndarray:
        """(n,) beta from along-track pushes, secondary's masses and the impactor's m U."""
        received = (mass_kg + self.gained_kg) * dv_m_s - self.recoil_kg_m_s[:, 0]
        return 1.0 + (received / momentum_kg_m_s - self.flight[:, 0]) / self.strength

    def velocity_change(self, dv_m_s: np.ndarray, mass_kg: np.ndarray, momentum_kg_m_s: np.ndarray) -> np.ndarray:
        """(n, 3) m/s, the whole velocity change, orbit axes, whose along-track part is given: equation 1 with the beta
        of it."""
        mass_kg = mass_kg + self.gained_kg
        brought = self.flight * (momentum_kg_m_s / mass_kg)[:, None] + self.recoil_kg_m_s / mass_kg[:, None]
        return brought + self.ejecta * ((dv_m_s - brought[:, 0]) / self.ejecta[:, 0])[:, None]


def leverage(system: System, scenario: Scenario) -> Leverage:
    """One row: the impact of a scenario on a system in its state."""
    return leverages(system, scenario, {"": np.zeros(1)})


def leverages(system: System, scenario: Scenario, inputs: Mapping[str, np.ndarray]) -> Leverage:
    """(n) rows for drawn inputs (n,), by their dotted names, on a system in its state at t0.

    The relaxed secondary's orbit axes and attitude do not depend on the inputs (in its frame, by construction).
    """
    if sure(scenario.impactor).target != "secondary":
        raise InputError(
            f"{scenario.place}:impactor.target",
            "a hit of the primary is given, beta is inferred for the secondary alone; change it, or use predict",
        )
    named, ground = bool(scenario.momentum_transfer.ejecta_direction), isinstance(system.secondary, Ellipsoid)
    of_site = _OF_SITE if named or not ground else _OF_SITE + _OF_GROUND
    of_rest = (*_OF_REST, *_OF_MASSES) if scenario.mass_exchange else _OF_REST
    columns = {name: values for name, values in inputs.items() if name.startswith((*of_site, *of_rest))}
    given, body = Varied(scenario, columns, len(next(iter(inputs.values())))), cast(Any, system.secondary)
    at_site = {name: values for name, values in columns.items() if name.startswith(of_site)}
    # Where nothing of the site varies, it is found once.
    there = Varied(scenario, at_site, given.count if at_site else 1)
    if any(name.startswith(_OF_GROUND) for name in at_site):
        body = _Ellipsoids(np.sort(there.semi_axes_m("secondary"), axis=0)[::-1])
    with np.errstate(all="ignore"):
        found = replace(arrivals(there, system.primary, body, system.state.vector[:, None]), given=given)
        hit = found.sites.met & ~found.grazing
        vectors = turned(found.axes, found.flight), turned(found.axes, found.ejecta), found.sites.point_m
        normal = turned(found.axes, found.normal)
        masses = masses_of(given, found, system.secondary.mass_kg)
    recoil = turning = np.zeros((3, 1))
    if scenario.boulders:
        thrown = boulder_momenta(given, found.axes, system.secondary.mass_kg)
        recoil = -turned(found.axes, thrown.sum(axis=0))
    if masses:
        turning = masses.ejecta_kg * turned(found.axes, _ground(system, found))
        recoil = recoil - turning if sure(scenario.mass_exchange).beta_frame == "ground" else recoil
    everything = (*vectors, recoil, normal, turning)
    rows = [np.broadcast_to(np.where(hit, part, np.nan), (3, given.count)).T.copy() for part in everything]
    every = np.broadcast_to(hit, given.count).copy()
    return Leverage(rows[0], rows[1], rows[2], rows[3], every, rows[4], rows[5], masses)


def _ground(system: System, found: Arrivals) -> np.ndarray:
    """(3, n) m/s, inertial, of the ground at the sites from the secondary's centre."""
    return turned(found.to_inertial, cross(system.state.rate2_rad_s[:, None], found.sites.point_m))


@dataclass(frozen=True)
class _Ellipsoids:
    """Outlines of n secondaries, semi_axes_m (3, n)."""

    semi_axes_m: np.ndarray

    @property
    def bounding_radius_m(self) -> np.ndarray:
        """(n,): a."""
        return self.semi_axes_m[0]
