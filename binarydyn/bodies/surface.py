"""Where a straight line meets a body: rays from outside, and the ground at a longitude and a latitude."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import InputError


@dataclass(frozen=True)
class Hit:
    """Where a ray meets the surface, body frame: point (3,), outward unit normal (3,), distance from the ray's origin.

    `facet` is the number of the facet (counting from 0), None on an ellipsoid.
    """

    point_m: np.ndarray
    normal: np.ndarray
    distance_m: float
    facet: int | None = None


def unit_ray(origin_m, direction) -> tuple[np.ndarray, np.ndarray]:
    """The ray as two finite (3,) arrays, the direction at unit length; InputError otherwise."""
    origin, direction = np.asarray(origin_m, dtype=float), np.asarray(direction, dtype=float)
    for name, vector in (("origin_m", origin), ("direction", direction)):
        if vector.shape != (3,) or not np.all(np.isfinite(vector)):
            raise InputError(name, f"{vector.tolist()} given, three finite numbers are allowed; give x, y, z")
    largest = np.abs(direction).max()
    if largest == 0.0:
        raise InputError("direction", "the zero vector given, any other vector is allowed; say where the ray goes")
    direction = direction / largest
    return origin, direction / np.linalg.norm(direction)


def direction_of(longitude_deg: float, latitude_deg: float) -> np.ndarray:
    """Unit vector (3,) of a body-centred longitude (from x towards y) and latitude (-90 to 90, towards z)."""
    if not (np.isfinite(longitude_deg) and -90.0 <= latitude_deg <= 90.0):
        raise InputError(
            "longitude_deg, latitude_deg",
            f"{longitude_deg}, {latitude_deg} given, a finite longitude and a latitude from -90 to 90 are allowed",
        )
    longitude, latitude = np.radians(longitude_deg), np.radians(latitude_deg)
    cos_latitude = np.cos(latitude)
    return np.array([cos_latitude * np.cos(longitude), cos_latitude * np.sin(longitude), np.sin(latitude)])


def hit_ellipsoid(semi_axes_m: np.ndarray, origin_m, direction) -> Hit | None:
    """First point at or ahead of the origin where the ray meets the ellipsoid; from inside, where it leaves; None if it misses.

    In coordinates divided by the semi-axes the body is the unit ball, and the ray's point nearest to the centre
    decides.  A tangent ray hits or misses according to rounding, with the tangent point if it hits.
    """
    origin, direction = unit_ray(origin_m, direction)
    o, d = origin / semi_axes_m, direction / semi_axes_m
    speed = np.linalg.norm(d)
    nearest = -(o @ d) / speed**2
    passing = o + nearest * d
    room = 1.0 - passing @ passing
    if room < 0.0:
        return None
    half_chord = np.sqrt(room) / speed
    distance = nearest - half_chord if nearest >= half_chord else nearest + half_chord
    if distance < 0.0:
        return None
    point = origin + distance * direction
    normal = point / semi_axes_m**2
    return Hit(point, normal / np.linalg.norm(normal), float(distance))
