"""How steep the ground is where ejecta leave it: over which width a mesh is averaged, and what its single facets do.

Ejecta come from the whole crater, so the normal at a site is the mean over the expected one; a single facet is as
steep as the mesh happens to be there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..bodies.surface import Facets
from ..columns import dot, turned, turned_back, unit
from ..constants import G
from ..motion.state import State, System
from ..scenario import Impactor, MomentumTransfer
from .ejecta import Blow, Crater, Ground
from .frame import direction_in_space, orbit_axes, tilted
from .momentum import ejecta_momentum, rotation
from .release import outward
from .site import Site, incidence_deg
from .transfer import Place, yielded

USUAL_GROUND = "perlite_sand"
"""Whose crater is expected where beta is given in place of a material: weakly cohesive grains, the middle of what is
thought of small bodies (22 radii of an impactor at 5 km/s; 7 in cemented basalt, 90 in cohesionless sand)."""
_STEEPEST_COSINE = 0.1
LARGEST_SHARE = 0.5
"""Of the mean radius: a crater beyond it is outside the scaling's validity, and the ground about it no longer flat."""


def expected_radius_m(system: System, impactor: Impactor, transfer: MomentumTransfer) -> float:
    """Of the crater that a vertical hit digs; no less than the spacing of the mesh, which knows of no finer slopes.

    0 for a smooth moonlet, whose normal is known at the point.
    """
    body = system.secondary
    if body.spacing_m == 0.0:
        return 0.0
    size = (3.0 * body.volume_m3 / (4.0 * np.pi)) ** (1.0 / 3.0)
    ground = Ground.of(transfer.material) if transfer.material else Ground.named(USUAL_GROUND)
    gravity = G * body.mass_kg / size**2
    crater = Crater.of(ground, Blow(impactor.mass_kg, *impactor.ball, 1e3 * impactor.speed_km_s, gravity))
    return float(min(max(crater.radius_m, body.spacing_m), LARGEST_SHARE * size))


def normal_radius_m(system: System, impactor: Impactor, transfer: MomentumTransfer) -> float:
    """Over which the normal is averaged: as given, or of the expected crater."""
    given = impactor.normal_radius_m
    return expected_radius_m(system, impactor, transfer) if given is None else given


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
    was taken is.  The plane takes out that the moonlet is round, which the mean over the ground knows.  facets: how
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


def slopes_about(system: System, before: State, given: Any, site: Site) -> Slopes:
    """What each facet's own normal would give (a Scenario or an ImpactSpec), within the crater or what was averaged."""
    body, impactor, transfer = system.secondary, given.impactor, given.momentum_transfer
    radius = max(site.normal_radius_m, expected_radius_m(system, impactor, transfer))
    ground = body.ground_about(site.hit, radius)
    weights = ground.areas / ground.areas.sum()
    own = body.ground_about(site.hit, site.normal_radius_m).areas
    across = np.linalg.svd(site.normal[None])[2][1:]
    tilts = across.T @ _tilts(ground, weights, site, across, float(own.sum() ** 2 / np.sum(own**2)))
    taken = site.normal[:, None]
    nearby = unit(np.column_stack([taken, taken + tilts, taken - tilts]))
    dv = _pushes(system, before, given, site, np.column_stack([nearby, ground.normals]))
    return Slopes(radius, dv[:, 0], dv[:, 1:5], dv[:, 5:], weights)


def _pushes(system: System, before: State, given: Any, site: Site, normals: np.ndarray) -> np.ndarray:
    """(3, n) m/s, orbit axes, by a hit at the site if the ground there had these normals (3, n)."""
    body, impactor, transfer = system.secondary, given.impactor, given.momentum_transfer
    axes, to_inertial = orbit_axes(before), rotation(before.attitude2)[..., None]
    flight = direction_in_space(impactor.direction, axes, given.mutual_orbit)[:, None]
    incidence = incidence_deg(normals, turned_back(to_inertial, flight))
    axis = _axes(given, axes, flight, turned(to_inertial, normals), to_inertial)
    skips, beta = incidence > impactor.grazing_deg, transfer.beta
    if transfer.material:
        steep = np.where(skips, 0.0, incidence)
        place = Place.between(system.primary, body, before.position_m, site.point_m, steep, -dot(axis, flight))
        beta = yielded(place, impactor, transfer, {}).beta
    brought = impactor.mass_kg * 1e3 * impactor.speed_km_s * flight
    received = brought - np.where(skips, 0.0, ejecta_momentum(brought, beta, axis))
    return turned(axes[..., None], received) / body.mass_kg


def _axes(given: Any, axes: np.ndarray, flight: np.ndarray, ground: np.ndarray, moonlet: np.ndarray) -> np.ndarray:
    """(3, n) of the ejecta above ground with these normals."""
    transfer = given.momentum_transfer
    if transfer.ejecta_direction:
        return outward(direction_in_space(transfer.ejecta_direction, axes, given.mutual_orbit)[:, None], ground)
    return tilted(ground, flight, moonlet, transfer.ejecta_tilt_deg, transfer.ejecta_tilt_azimuth_deg)
