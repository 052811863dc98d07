"""How a hit acts on the orbit, before beta is known: flight U and ejecta axis E in orbit axes, and beta from the push.

Equation 1 of momentum.py along the track, solved for beta:
beta = 1 + [(M2 dv_t - R.t)/m - U.t] / [(E.U) (E.t)], R the recoil from boulders, which are stated and not in beta.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..bodies import Ellipsoid
from ..motion.state import System
from ..scenario import MomentumTransfer, Scenario
from ..scenario.fields import unchecked
from ..scenario.tables.bodies import axes_of_ratios
from .apply import ImpactSpec, impact_on
from .frame import direction_in_space, orbit_axes
from .slopes import normal_radius_m

_OF_GEOMETRY = (
    "impactor.direction",
    "impactor.site",
    "impactor.aim",
    "momentum_transfer.ejecta",
    "mutual_orbit.pole",
    "mutual_orbit.node",
    "boulders.",
)
_OF_EJECTA = "momentum_transfer.ejecta_direction."
_OF_GROUND = ("secondary.semi_axes", "secondary.axis_ratio", "secondary.volume")


@dataclass(frozen=True)
class Leverage:
    """Unit vectors (n, 3) along-track, radial, normal: flight of the impactor, axis of the ejecta (either sign).

    point_m (n, 3): the site in the moonlet's frame.  recoil_kg_m_s (n, 3): momentum from boulders that are thrown off,
    orbit axes.  hit (n,): False where the moonlet is missed or grazed; the rest of such a row means nothing.
    """

    flight: np.ndarray
    ejecta: np.ndarray
    point_m: np.ndarray
    recoil_kg_m_s: np.ndarray
    hit: np.ndarray

    @property
    def strength(self) -> np.ndarray:
        """(n,) (E.U)(E.t) over U: along-track push for each unit of beta - 1, in units of m U / M2."""
        return np.einsum("ij,ij->i", self.ejecta, self.flight) * self.ejecta[:, 0]

    def beta(self, dv_m_s: np.ndarray, mass_kg: np.ndarray, momentum_kg_m_s: np.ndarray) -> np.ndarray:
        """(n,) beta from along-track pushes, moonlet's masses and the impactor's m U."""
        received = mass_kg * dv_m_s - self.recoil_kg_m_s[:, 0]
        return 1.0 + (received / momentum_kg_m_s - self.flight[:, 0]) / self.strength

    def push(self, dv_m_s: np.ndarray, mass_kg: np.ndarray, momentum_kg_m_s: np.ndarray) -> np.ndarray:
        """(n, 3) m/s, the whole push, orbit axes, whose along-track part is given: equation 1 with the beta of it."""
        brought = self.flight * (momentum_kg_m_s / mass_kg)[:, None] + self.recoil_kg_m_s / mass_kg[:, None]
        return brought + self.ejecta * ((dv_m_s - brought[:, 0]) / self.ejecta[:, 0])[:, None]


def leverage(system: System, scenario: Scenario) -> Leverage:
    """One row: the hit of a scenario on a system.  InputError as impact_on."""
    return _rows([_one(system, _spec(system, scenario))])


def leverages(system: System, scenario: Scenario, inputs: Mapping[str, np.ndarray]) -> Leverage:
    """(n) rows for drawn inputs (n,), by their dotted names, on a system in its state at t0.

    The relaxed moonlet's orbit axes and attitude do not depend on the inputs (in its frame, by construction).
    """
    transfer = scenario.momentum_transfer
    starts = _OF_GEOMETRY if transfer.ejecta_direction else _OF_GEOMETRY + _OF_GROUND
    names = [name for name in inputs if name.startswith(starts)]
    if all(name.startswith(_OF_EJECTA) for name in names):
        one, count = leverage(system, scenario), len(next(iter(inputs.values()), [0]))
        all_alike = Leverage(*(np.repeat(getattr(one, name), count, axis=0) for name in Leverage.__dataclass_fields__))
        return replace(all_alike, ejecta=_directions(system, scenario, inputs, names)) if names else all_alike
    rows = []
    for values in zip(*(inputs[name] for name in names), strict=True):
        given = scenario
        for name, value in zip(names, values, strict=True):
            given = _replaced(given, name.split("."), float(value))
        hit = system
        if any(name.startswith(_OF_GROUND) for name in names) and isinstance(system.secondary, Ellipsoid):
            body = given.secondary
            axes = body.semi_axes_m if body.axis_ratio_ab is None else axes_of_ratios(body)
            axes = tuple(sorted(axes, reverse=True))
            hit = replace(system, secondary=Ellipsoid.of_mass(axes, system.secondary.mass_kg))
        rows.append(_one(hit, _spec(hit, given)))
    return _rows(rows)


def _spec(system: System, scenario: Scenario) -> ImpactSpec:
    """What decides flight and axis; beta and the ground's material do not, but for the width of the crater."""
    kept = {
        "ejecta_direction",
        "ejecta_tilt_deg",
        "ejecta_tilt_azimuth_deg",
    } & scenario.momentum_transfer.model_fields_set
    transfer = unchecked(MomentumTransfer(), {name: getattr(scenario.momentum_transfer, name) for name in kept})
    radius = normal_radius_m(system, scenario.impactor, scenario.momentum_transfer)
    impactor = unchecked(scenario.impactor, {"normal_radius_m": radius})
    return ImpactSpec(impactor, transfer, None, scenario.mutual_orbit, boulders=scenario.boulders)


def _one(system: System, given: ImpactSpec) -> tuple:
    axes = orbit_axes(system.state)
    impact = impact_on(system, given)
    if impact.status != "hit":
        return *np.full((4, 3), np.nan), False
    flight = axes @ direction_in_space(given.impactor.direction, axes, given.mutual_orbit)
    recoil = -(axes @ impact.thrown.momentum_kg_m_s) if impact.thrown else np.zeros(3)
    return flight, axes @ impact.released.axis, impact.site.point_m, recoil, True


def _directions(system: System, scenario: Scenario, inputs: Mapping[str, np.ndarray], names: list[str]) -> np.ndarray:
    """(n, 3) ejecta's axes in orbit axes where they alone vary: the site need not be found again for each."""
    axes, given = orbit_axes(system.state), scenario.momentum_transfer.ejecta_direction
    keys = [name.removeprefix(_OF_EJECTA).split(".") for name in names]
    rows = []
    for values in zip(*(inputs[name] for name in names), strict=True):
        one = given
        for path, value in zip(keys, values, strict=True):
            one = _replaced(one, path, float(value))
        rows.append(direction_in_space(one, axes, scenario.mutual_orbit))
    return np.array(rows) @ axes.T


def _rows(rows: list[tuple]) -> Leverage:
    return Leverage(*(np.array(column) for column in zip(*rows, strict=True)))


def _replaced(table: Any, path: list[str], value: float) -> Any:
    """A table with one number replaced, not checked again: the draws keep to the ranges of the keys."""
    if not path:
        return value
    first, *rest = path
    if isinstance(table, tuple):
        index = int(first)
        return *table[:index], _replaced(table[index], rest, value), *table[index + 1 :]
    return unchecked(table, {first: _replaced(getattr(table, first), rest, value)})
