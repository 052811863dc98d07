"""How steep the ground is where ejecta leave it: what single facets of a mesh would do in place of their mean, and what
is stated to be unknown of its slope."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..bodies.surface import Facets
from ..columns import turned, unit
from ..motion.state import State, System
from ..scenario.side_by_side import Varied
from ..vectors import rotation
from .footprint import expected_radius_m
from .frame import directions_in_space, orbit_axes
from .hits import Arrivals
from .site import Site, Sites

_STEEPEST_COSINE = 0.1


@dataclass(frozen=True)
class Slopes:
    """Changes of velocity by hits at one site with other normals; along-track, radial and normal, m/s.

    taken_m_s (3,): with the normal that was taken.  tilted_m_s (3, 4): with that one tilted by 1 sigma of what is known
    of it, both ways about two axes.  facets_m_s (3, n): with those of single facets within radius_m of the site, whose
    shares of the ground are weights (n,).
    """

    radius_m: float
    taken_m_s: np.ndarray
    tilted_m_s: np.ndarray
    facets_m_s: np.ndarray
    weights: np.ndarray


def _tilts(ground: Facets, weights: np.ndarray, site: Site, across: np.ndarray, facets: float) -> np.ndarray:
    """(2, 2) columns: 1 sigma of the slopes of the normal that was taken, along `across` (2, 3), in two directions.

    Scatter of the facets' slopes about a plane over the ground, over sqrt(facets), and how far off it the normal that
    was taken is.  The plane takes out that the secondary is round, which the mean over the ground knows.  facets: how
    many the normal is a mean of; they count as independent.
    """
    count = 1.0 / np.sum(weights**2)
    terms = np.vstack([np.ones_like(weights), across @ (ground.middles_m - site.point_m[:, None])])
    terms = terms if count > len(terms) + 1.0 else terms[:1]
    steep = np.maximum(site.normal @ ground.normals, _STEEPEST_COSINE)
    slopes, root = across @ ground.normals / steep, np.sqrt(weights)
    plane = np.linalg.lstsq((root * terms).T, (root * slopes).T, rcond=None)[0]
    free = count - len(terms)
    away = slopes - plane.T @ terms
    scatter = (weights * away) @ away.T * count / (free * facets) if free > 1e-9 else np.zeros((2, 2))
    squares, columns = np.linalg.eigh(scatter + np.outer(plane[0], plane[0]))
    return columns * np.sqrt(np.maximum(squares, 0.0))


def is_sure(body: Any, impactor: Any) -> bool:
    """Whether nothing is unknown of the normal."""
    return body.spacing_m == 0.0 and impactor.normal_sigma_deg == 0.0


def normal_tilts(body: Any, given: Any, site: Site) -> np.ndarray:
    """(3, 2) body frame: tilts of the normal that was taken, 1 sigma each, about two axes along the ground: by the
    roughness of a mesh, and as stated."""
    impactor = given.impactor
    across, stated = np.linalg.svd(site.normal[None])[2][1:], np.tan(np.radians(impactor.normal_sigma_deg))
    if body.spacing_m == 0.0:
        return stated * across.T
    radius = max(site.normal_radius_m, expected_radius_m(body, impactor, given.momentum_transfer))
    ground, own = body.ground_about(site.hit, radius), body.ground_about(site.hit, site.normal_radius_m).areas
    weights = ground.areas / ground.areas.sum()
    tilts = _tilts(ground, weights, site, across, float(own.sum() ** 2 / np.sum(own**2)))
    if stated == 0.0:
        return across.T @ tilts
    squares, columns = np.linalg.eigh(tilts @ tilts.T + stated**2 * np.eye(2))
    return across.T @ (columns * np.sqrt(squares))


def tilts_in_orbit(system: System, before: State, given: Any, site: Site) -> np.ndarray:
    """(2, 3) the same in orbit axes of a state."""
    return (orbit_axes(before) @ rotation(before.attitude2) @ normal_tilts(system.secondary, given, site)).T


def slopes_about(system: System, before: State, given: Any, site: Site) -> Slopes:
    """What each facet's own normal would give (a Scenario or an ImpactSpec), within the crater or what was averaged."""
    body = system.secondary
    radius = max(site.normal_radius_m, expected_radius_m(body, given.impactor, given.momentum_transfer))
    ground = body.ground_about(site.hit, radius)
    weights = ground.areas / ground.areas.sum()
    tilts = normal_tilts(body, given, site)
    taken = site.normal[:, None]
    nearby = unit(np.column_stack([taken, taken + tilts, taken - tilts]))
    dv = _pushes(system, before, given, site, np.column_stack([nearby, ground.normals]))
    return Slopes(radius, dv[:, 0], dv[:, 1:5], dv[:, 5:], weights)


def _pushes(system: System, before: State, given: Any, site: Site, normals: np.ndarray) -> np.ndarray:
    """(3, n) m/s, orbit axes, by an impact at the site if the ground there had these normals (3, n)."""
    numbers, mass_kg = Varied(given, {}, 1), system.secondary.mass_kg
    axes, to_inertial = orbit_axes(before)[..., None], rotation(before.attitude2)[..., None]
    flight = directions_in_space(numbers, "impactor.direction", axes)
    everywhere = np.ones(normals.shape[1], dtype=bool)
    there = Sites.found(site.point_m[:, None], normals, np.zeros(1), everywhere)
    found = Arrivals(numbers, axes, to_inertial, flight, there, ~everywhere)
    with np.errstate(all="ignore"):  # of a material, where the flight comes from below such ground
        return turned(axes, found.received_kg_m_s(found.beta(mass_kg))) / mass_kg
