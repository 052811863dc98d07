"""Impacts on hundreds of pairs side by side: where each impactor meets its ellipsoid, and the push that follows.

The order of impact/apply.py with the formulae of impact/, on vectors (3, n), one column a member.  What is not here
(meshes, boulders, new shapes) is for `impact_on`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..bodies.surface import ellipsoid_distance
from ..columns import dot, length, turned, turned_back, unit
from ..impact.apply import grazing_reason
from ..impact.frame import aim_axes, axes_of, ecliptic_axes, tilted
from ..impact.momentum import ejecta_momentum, spin_change
from ..impact.release import ACROSS_COSINE, outward
from ..impact.site import BEHIND, EDGE_ON_COSINE, ONLY_TOUCHES, faces_away, incidence_deg, passes_by
from ..impact.transfer import Place, yielded
from ..observables.orientation import rotations
from .inputs import Inputs


@dataclass(frozen=True)
class Hits:
    """What n impacts did: the states after (20, n), pushes (3, n) along-track, radial, normal, and (n,) the rest.

    status: empty where the member goes on to be `done`, else as of a Row, with its reason.  unsure: members for which
    `impact_on` is to decide.  beta, incidence_deg: nan without a hit.
    """

    y: np.ndarray
    dv_mm_s: np.ndarray
    beta: np.ndarray
    incidence_deg: np.ndarray
    status: np.ndarray
    reason: np.ndarray
    unsure: np.ndarray


def hits(inputs: Inputs, primary, secondary, y: np.ndarray) -> Hits:
    """The impacts on pairs in states y (20, n), of bodies as arrays; a push asks nothing of them."""
    with np.errstate(all="ignore"):
        axes = axes_of(y[0:3], y[3:6])
        if inputs.scenario.impactor:
            return _hit(inputs, primary, secondary, y, axes)
        count, nothing = y.shape[1], np.full(y.shape[1], np.nan)
        status, reason = np.full(count, "", dtype=object), np.full(count, "", dtype=object)
        dv = np.zeros((3, count))
        if inputs.scenario.push:
            dv = inputs.vector("push", "along_track_mm_s", "radial_mm_s", "normal_mm_s")
        else:
            status[:], reason[:] = "no_impact", "neither an impactor nor a push is given"
        after = y.copy()
        after[3:6] += 1e-3 * turned_back(axes, dv)
        return Hits(after, dv, nothing, nothing, status, reason, np.zeros(count, dtype=bool))


def _direction(inputs: Inputs, name: str, given, axes: np.ndarray) -> np.ndarray:
    """Unit vectors of a direction of the scenario, inertial."""
    if given.frame == "ecliptic":
        fixed = ecliptic_axes(inputs.scenario.mutual_orbit) @ np.array(given.unit)
        return np.repeat(fixed[:, None], inputs.count, axis=1)
    if given.frame == "inertial":
        return unit(inputs.vector(f"{name}.inertial", 0, 1, 2))
    return turned_back(axes, unit(inputs.vector(name, "along_track", "radial", "normal")))


def _hit(inputs: Inputs, primary, secondary, y: np.ndarray, axes: np.ndarray) -> Hits:
    """By equation 1 of impact/momentum.py; grazing hits bring their own momentum, misses none."""
    flight = _direction(inputs, "impactor.direction", inputs.scenario.impactor.direction, axes)
    to_inertial = _matrices(y[13:17])
    at, point, normal, met, why, hidden = _sites(inputs, primary, secondary, y, axes, flight, to_inertial)
    incidence = incidence_deg(normal, at)
    grazing = met & (incidence > inputs["impactor.grazing_deg"])
    ejecta = _ejecta_axis(inputs, flight, turned(to_inertial, normal), to_inertial, axes)
    beta, unsure = _beta(inputs, secondary, point, incidence, -dot(ejecta, flight))
    beta = np.where(grazing, 1.0, beta)
    brought = inputs["impactor.mass_kg"] * 1e3 * inputs["impactor.speed_km_s"] * flight
    received = np.where(met, brought - ejecta_momentum(brought, beta, ejecta), 0.0)
    dv, after = received / secondary.mass_kg, y.copy()
    after[3:6] += dv
    after[17:20] += np.where(met, spin_change(secondary, to_inertial, received, point), 0.0)
    status = np.where(met, np.where(grazing, "grazing", ""), "miss").astype(object)
    for i in np.flatnonzero(grazing).tolist():
        x, y_, z = point[:, i].tolist()
        longitude, latitude = np.degrees(np.arctan2(y_, x)), np.degrees(np.arctan2(z, np.hypot(x, y_)))
        why[i] = grazing_reason(longitude, latitude, incidence[i], inputs["impactor.grazing_deg"][i])
    nothing = np.where(met, 1.0, np.nan)
    unsure = (unsure & met & ~grazing) | hidden
    return Hits(after, 1e3 * turned(axes, dv), beta * nothing, incidence * nothing, status, why, unsure)


def _matrices(quaternions: np.ndarray) -> np.ndarray:
    """(3, 3, n), body -> inertial, of (4, n)."""
    return rotations(quaternions.T).transpose(1, 2, 0)


def _sites(inputs: Inputs, primary, secondary, y, axes, flight, to_inertial):
    """Flight, point and normal in the moonlets' frames, whether each is hit, why not, and whether that is unsure.

    A primary that is no ellipsoid is taken for the sphere about it: what passes through that is for `impact_on`.
    """
    at = turned_back(to_inertial, flight)
    why = np.full(inputs.count, "", dtype=object)
    shape = secondary.semi_axes_m
    by_site = inputs.scenario.impactor.site is not None
    if by_site:
        longitude, latitude = inputs["impactor.site.longitude_deg"], inputs["impactor.site.latitude_deg"]
        east, north = np.radians(longitude), np.radians(latitude)
        start = np.zeros_like(at)
        ray = np.array([np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)])
    else:
        aside, plane = inputs.vector("impactor.aim_offset_m", 0, 1), aim_axes(axes, flight)
        offset = turned_back(to_inertial, aside[0] * plane[0] + aside[1] * plane[1])
        start, ray = offset - 2.0 * shape[0] * at, at
    distance, reached = ellipsoid_distance(shape, start, ray)
    point = start + distance * ray
    normal = unit(point / shape**2)
    edge_on = reached & (dot(normal, at) > -EDGE_ON_COSINE)
    for i in np.flatnonzero(~reached).tolist():
        why[i] = passes_by(float(length(offset)[i]))
    for i in np.flatnonzero(edge_on).tolist():
        angle = float(incidence_deg(normal[:, i], at[:, i]))
        why[i] = faces_away(longitude[i], latitude[i], angle) if by_site else ONLY_TOUCHES
    met = reached & ~edge_on
    to_primary = _matrices(y[6:10])
    place = turned_back(to_primary, y[0:3] + turned(to_inertial, point))
    outline = getattr(primary, "semi_axes_m", primary.bounding_radius_m * np.ones((3, 1)))
    behind = met & ellipsoid_distance(outline, place, -turned_back(to_primary, flight))[1]
    if not hasattr(primary, "semi_axes_m"):
        return at, point, normal, met, why, behind
    why[behind] = BEHIND
    return at, point, normal, met & ~behind, why, np.zeros_like(behind)


def _ejecta_axis(inputs: Inputs, flight, ground, to_inertial, axes) -> np.ndarray:
    """E, outward: a named direction, or the surface normal, tilted; as impact/release.py."""
    named = inputs.scenario.momentum_transfer.ejecta_direction
    if named:
        return outward(_direction(inputs, "momentum_transfer.ejecta_direction", named, axes), ground)
    names = ("ejecta_tilt_deg", "ejecta_tilt_azimuth_deg")
    return tilted(ground, flight, to_inertial, *(inputs[f"momentum_transfer.{name}"] for name in names))


def _beta(inputs: Inputs, secondary, point, incidence, cosine) -> tuple[np.ndarray, np.ndarray]:
    """Along E, as given or from the ground's material, and where that has no meaning."""
    transfer = inputs.scenario.momentum_transfer
    if not transfer.material:
        return inputs["momentum_transfer.beta"], np.zeros(inputs.count, dtype=bool)
    place = Place.at(secondary.mass_kg, point, incidence, cosine)
    found = yielded(place, inputs.scenario.impactor, transfer, inputs.columns)
    return found.beta, np.abs(cosine) < ACROSS_COSINE
