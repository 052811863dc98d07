"""Impacts on hundreds of pairs side by side: where each impactor meets its ellipsoid, and the push that follows.

The same formulae as impact/apply.py, in arrays: vectors (3, n), one column a member.  What is not here (meshes,
boulders, new shapes) is for `impact_on`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import G
from ..impact.apply import grazing_reason
from ..impact.ejecta import Blow, Ground
from ..impact.frame import ecliptic_axes
from ..impact.release import ACROSS_COSINE
from ..impact.site import BEHIND, EDGE_ON_COSINE, ONLY_TOUCHES, faces_away, passes_by
from ..impact.transfer import Place, leaving
from ..observables.orientation import rotations
from .inputs import Inputs

_SMALLEST_SINE = 1e-9
"""As in impact/frame.py: of an angle below which a plane is not worth naming."""


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
        axes = _orbit_axes(y)
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
        after[3:6] += 1e-3 * (dv[0] * axes[0] + dv[1] * axes[1] + dv[2] * axes[2])
        return Hits(after, dv, nothing, nothing, status, reason, np.zeros(count, dtype=bool))


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _length(a: np.ndarray) -> np.ndarray:
    return np.sqrt(_dot(a, a))


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def _orbit_axes(y: np.ndarray) -> np.ndarray:
    """(3, 3, n): along-track, radial and normal unit vectors, as impact/frame.orbit_axes."""
    r, area = y[0:3], _cross(y[0:3], y[3:6])
    radial, normal = r / _length(r), area / _length(area)
    return np.array([_cross(normal, radial), radial, normal])


def _turned(matrix: np.ndarray, a: np.ndarray) -> np.ndarray:
    """matrix (n, 3, 3) times vectors."""
    m = matrix.transpose(1, 2, 0)
    return np.array([_dot(m[i], a) for i in range(3)])


def _turned_back(matrix: np.ndarray, a: np.ndarray) -> np.ndarray:
    m = matrix.transpose(2, 1, 0)
    return np.array([_dot(m[i], a) for i in range(3)])


def _direction(inputs: Inputs, name: str, given, axes: np.ndarray) -> np.ndarray:
    """Unit vectors of a direction of the scenario, inertial."""
    if given.frame == "ecliptic":
        fixed = ecliptic_axes(inputs.scenario.mutual_orbit) @ np.array(given.unit)
        return np.repeat(fixed[:, None], inputs.count, axis=1)
    if given.frame == "inertial":
        vector = inputs.vector(f"{name}.inertial", 0, 1, 2)
        return vector / _length(vector)
    part = inputs.vector(name, "along_track", "radial", "normal")
    part = part / _length(part)
    return part[0] * axes[0] + part[1] * axes[1] + part[2] * axes[2]


def _meeting(semi_axes_m: np.ndarray, origin: np.ndarray, direction: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where rays meet ellipsoids first, from inside where they leave, and whether they do; as bodies.hit_ellipsoid."""
    o, d = origin / semi_axes_m, direction / semi_axes_m
    speed = _length(d)
    nearest = -_dot(o, d) / (speed * speed)
    passing = o + nearest * d
    room = 1.0 - _dot(passing, passing)
    half = np.sqrt(np.maximum(room, 0.0)) / speed
    distance = np.where(nearest >= half, nearest - half, nearest + half)
    return origin + distance * direction, (room >= 0.0) & (distance >= 0.0)


def _hit(inputs: Inputs, primary, secondary, y: np.ndarray, axes: np.ndarray) -> Hits:
    """By equation 1 of impact/momentum.py; grazing hits bring their own momentum, misses none."""
    flight = _direction(inputs, "impactor.direction", inputs.scenario.impactor.direction, axes)
    to_inertial = rotations(y[13:17].T)
    at, point, normal, met, why, hidden = _sites(inputs, primary, secondary, y, axes, flight, to_inertial)
    sine, cosine = _length(_cross(normal, at)), -_dot(normal, at)
    incidence = np.degrees(np.arctan2(sine, cosine))
    grazing = met & (incidence > inputs["impactor.grazing_deg"])
    ground = _turned(to_inertial, normal)
    ejecta = _ejecta_axis(inputs, flight, ground, to_inertial[:, :, 2].T, axes)
    beta, unsure = _beta(inputs, primary, secondary, y, point, incidence, -_dot(ejecta, flight))
    beta = np.where(grazing, 1.0, beta)
    brought = inputs["impactor.mass_kg"] * 1e3 * inputs["impactor.speed_km_s"] * flight
    received = brought + (beta - 1.0) * _dot(ejecta, brought) * ejecta
    received = np.where(met, received, 0.0)
    dv, after = received / secondary.mass_kg, y.copy()
    after[3:6] += dv
    turn = _cross(point, _turned_back(to_inertial, received)) / secondary.inertia_kg_m2
    after[17:20] += np.where(met, turn, 0.0)
    status = np.where(met, np.where(grazing, "grazing", ""), "miss").astype(object)
    for i in np.flatnonzero(grazing).tolist():
        x, y_, z = point[:, i].tolist()
        longitude, latitude = np.degrees(np.arctan2(y_, x)), np.degrees(np.arctan2(z, np.hypot(x, y_)))
        why[i] = grazing_reason(longitude, latitude, incidence[i], inputs["impactor.grazing_deg"][i])
    parts = 1e3 * np.array([_dot(axis, dv) for axis in axes])
    nothing = np.where(met, 1.0, np.nan)
    return Hits(after, parts, beta * nothing, incidence * nothing, status, why, (unsure & met & ~grazing) | hidden)


def _sites(inputs: Inputs, primary, secondary, y, axes, flight, to_inertial):
    """Flight, point and normal in the moonlets' frames, whether each is hit, why not, and whether that is unsure.

    A primary that is no ellipsoid is taken for the sphere about it: what passes through that is for `impact_on`.
    """
    at = _turned_back(to_inertial, flight)
    why = np.full(inputs.count, "", dtype=object)
    shape = secondary.semi_axes_m
    if inputs.scenario.impactor.site is not None:
        longitude, latitude = inputs["impactor.site.longitude_deg"], inputs["impactor.site.latitude_deg"]
        east, north = np.radians(longitude), np.radians(latitude)
        ray = np.array([np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)])
        point, reached = _meeting(shape, np.zeros_like(ray), ray)
    else:
        aside = inputs.vector("impactor.aim_offset_m", 0, 1)
        first = _cross(axes[2], flight)
        upright = axes[0] - _dot(axes[0], flight) * flight
        first = np.where(_length(first) < _SMALLEST_SINE, upright, first)
        first = first / _length(first)
        offset = _turned_back(to_inertial, aside[0] * first + aside[1] * _cross(flight, first))
        point, reached = _meeting(shape, offset - 2.0 * shape[0] * at, at)
        for i in np.flatnonzero(~reached).tolist():
            why[i] = passes_by(float(_length(offset)[i]))
    normal = point / shape**2
    normal = normal / _length(normal)
    edge_on = reached & (_dot(normal, at) > -EDGE_ON_COSINE)
    for i in np.flatnonzero(edge_on).tolist():
        why[i] = ONLY_TOUCHES
        if inputs.scenario.impactor.site is not None:
            angle = np.degrees(np.arctan2(_length(_cross(normal, at))[i], -_dot(normal, at)[i]))
            why[i] = faces_away(longitude[i], latitude[i], float(angle))
    met = reached & ~edge_on
    to_primary = rotations(y[6:10].T)
    place = _turned_back(to_primary, y[0:3] + _turned(to_inertial, point))
    outline = getattr(primary, "semi_axes_m", primary.bounding_radius_m * np.ones((3, 1)))
    behind = met & _meeting(outline, place, -_turned_back(to_primary, flight))[1]
    if not hasattr(primary, "semi_axes_m"):
        return at, point, normal, met, why, behind
    why[behind] = BEHIND
    return at, point, normal, met & ~behind, why, np.zeros_like(behind)


def _ejecta_axis(inputs: Inputs, flight, ground, up, axes) -> np.ndarray:
    """E, outward: a named direction, or the surface normal, tilted; as impact/release.py."""
    named = inputs.scenario.momentum_transfer.ejecta_direction
    if named:
        axis = _direction(inputs, "momentum_transfer.ejecta_direction", named, axes)
        return np.where(_dot(axis, ground) >= 0.0, axis, -axis)
    tilt_deg = inputs["momentum_transfer.ejecta_tilt_deg"]
    if not tilt_deg.any():
        return ground
    ahead = flight - _dot(flight, ground) * ground
    above = up - _dot(up, ground) * ground
    ahead = np.where(_length(ahead) < _SMALLEST_SINE, above, ahead)
    ahead = ahead / _length(ahead)
    tilt, azimuth = np.radians(tilt_deg), np.radians(inputs["momentum_transfer.ejecta_tilt_azimuth_deg"])
    aside = np.cos(azimuth) * ahead + np.sin(azimuth) * _cross(ground, ahead)
    return np.where(tilt_deg == 0.0, ground, np.cos(tilt) * ground + np.sin(tilt) * aside)


def _beta(inputs: Inputs, primary, secondary, y, point, incidence, cosine) -> tuple[np.ndarray, np.ndarray]:
    """Along E, as given or from the ground's material, and where that has no meaning."""
    transfer = inputs.scenario.momentum_transfer
    if not transfer.material:
        return inputs["momentum_transfer.beta"], np.zeros(inputs.count, dtype=bool)
    height, distance = _length(point), _length(y[0:3])
    well = G * secondary.mass_kg / height
    escape, pair_escape = np.sqrt(2.0 * well), np.sqrt(2.0 * (well + G * primary.mass_kg / distance))
    place = Place(np.cos(np.radians(incidence)), cosine, well / height, escape, pair_escape)
    ground = Ground(*(inputs[f"momentum_transfer.material.{name}"] for name in Ground.__dataclass_fields__))
    mass, density = inputs["impactor.mass_kg"], inputs["impactor.density_kg_m3"]
    radius = np.cbrt(mass / (4.0 / 3.0 * np.pi * density))
    if inputs.has("impactor.radius_m"):
        radius = inputs["impactor.radius_m"]
        density = mass / (4.0 / 3.0 * np.pi * radius**3)
    blow = Blow(mass, radius, density, 1e3 * inputs["impactor.speed_km_s"], place.gravity_m_s2)
    angle, far_away = inputs["momentum_transfer.launch_angle_deg"], transfer.ejecta_speed == "far_away"
    found = leaving(ground, blow, place, angle, far_away, transfer.oblique)
    return found.beta, np.abs(cosine) < ACROSS_COSINE
