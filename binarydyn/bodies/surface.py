"""Where a straight line meets a body: rays from outside, and the ground at a longitude and a latitude."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..columns import cross, dot, length, towards, unit
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
    return towards(longitude_deg, latitude_deg)


def hit_ellipsoid(semi_axes_m: np.ndarray, origin_m, direction) -> Hit | None:
    """First point ahead where the ray meets the ellipsoid, from inside where it leaves; None if it misses."""
    origin, direction = unit_ray(origin_m, direction)
    distance, met = ellipsoid_distance(semi_axes_m, origin, direction)
    if not met:
        return None
    point = origin + distance * direction
    normal = point / semi_axes_m**2
    return Hit(point, normal / np.linalg.norm(normal), float(distance))


def ellipsoid_distance(semi_axes_m: np.ndarray, origin: np.ndarray, direction: np.ndarray):
    """How far along a ray the surface is met, and whether it is: of vectors (3,), or of many, (3, n), with (n,) each.

    In coordinates divided by the semi-axes the body is the unit ball, and the ray's point nearest to the centre
    decides.  A tangent ray hits or misses according to rounding, with the tangent point if it hits.
    """
    o, d = origin / semi_axes_m, direction / semi_axes_m
    square = dot(d, d)
    nearest = -dot(o, d) / square
    passing = o + nearest * d
    room = 1.0 - dot(passing, passing)
    half_chord = np.sqrt(np.maximum(room, 0.0) / square)
    distance = np.where(nearest >= half_chord, nearest - half_chord, nearest + half_chord)
    return distance, (room >= 0.0) & (distance >= 0.0)


def hit_mesh(vertices: np.ndarray, facets: np.ndarray, origin_m, direction, outermost: bool = False) -> Hit | None:
    """First (or last) facet of a closed mesh that the ray meets, from either side; None if it misses.

    Signs of the areas of triangles seen along the ray (Woop, Benthin & Wald 2013, JCGT 2, 65): the two facets at an
    edge compute the same number with opposite sign, so no ray slips between them.  A facet seen edge-on is left to
    its neighbours; a ray along an edge or through a corner takes the facet with the lowest number.
    """
    origin, direction = unit_ray(origin_m, direction)
    seen = _along_ray(vertices - origin, direction)
    x, y, z = seen[facets].transpose(2, 1, 0)
    u, v, w = x[2] * y[1] - y[2] * x[1], x[0] * y[2] - y[0] * x[2], x[1] * y[0] - y[1] * x[0]
    det = u + v + w
    met = (((u >= 0.0) & (v >= 0.0) & (w >= 0.0)) | ((u <= 0.0) & (v <= 0.0) & (w <= 0.0))) & (det != 0.0)
    numbers = np.flatnonzero(met)
    distance = (u[met] * z[0, met] + v[met] * z[1, met] + w[met] * z[2, met]) / det[met]
    ahead = distance >= 0.0
    if not ahead.any():
        return None
    numbers, distance = numbers[ahead], distance[ahead]
    best = np.argmax(distance) if outermost else np.argmin(distance)
    a, b, c = vertices[facets[numbers[best]]]
    normal = np.cross(b - a, c - a)
    point = origin + distance[best] * direction
    return Hit(point, normal / np.linalg.norm(normal), float(distance[best]), int(numbers[best]))


_AROUND, _NEWTON_STEPS = 32, 8
"""Places on the rim of a footprint, and steps to each: of half the mean radius on axes of 2:1.5:1 good to 1e-9."""


def ellipsoid_mean_normal(semi_axes_m: np.ndarray, point_m: np.ndarray, radius_m: float) -> np.ndarray:
    """(3, n) outward unit mean normals, by area, of the ground of ellipsoids within radius_m of points (3, n) of it.

    The mean is the vector area inside the rim, 1/2 int (x - p) x dx along it, whatever the ground inside.  On a sphere
    it is the normal at the point; to leading order it leans by R^2/8 grad(k1 + k2), k the principal curvatures, towards
    where the ground is more curved.  Semi-axes (3,) or (3, n).  Valid for footprints that do not go round the body.
    """
    shape = np.reshape(np.asarray(semi_axes_m, dtype=float), (3, -1))
    gradient = point_m / shape**2
    steep = length(gradient)
    normal = gradient / steep
    away = np.where(np.argmin(np.abs(normal), axis=0) == np.arange(3)[:, None], 1.0, 0.0)
    one = unit(cross(normal, away))
    two, total = cross(normal, one), np.zeros_like(normal)
    for azimuth in 2.0 * np.pi * np.arange(_AROUND) / _AROUND:
        out = np.cos(azimuth) * one + np.sin(azimuth) * two
        aside = np.cos(azimuth) * two - np.sin(azimuth) * one
        # p + R (cos d out - sin d n) lies on the ellipsoid where f = R |ray|^2 - 2 g sin d is 0, in axes-scaled space.
        depth = 0.5 * radius_m * dot(out / shape, out / shape) / steep
        for _ in range(_NEWTON_STEPS):
            ray, change = _sunk(out, normal, depth)
            slope = 2.0 * radius_m * dot(ray / shape, change / shape) - 2.0 * steep * np.cos(depth)
            f = radius_m * dot(ray / shape, ray / shape) - 2.0 * steep * np.sin(depth)
            depth = depth - f / slope
        ray, change = _sunk(out, normal, depth)
        slope = 2.0 * radius_m * dot(ray / shape, change / shape) - 2.0 * steep * np.cos(depth)
        turning = -2.0 * radius_m * dot(ray / shape, aside / shape) * np.cos(depth) / slope
        total = total + cross(ray, np.cos(depth) * aside + turning * change)
    return unit(total)


def _sunk(out: np.ndarray, normal: np.ndarray, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Directions that far below the tangent plane, and how they change with that angle."""
    return np.cos(depth) * out - np.sin(depth) * normal, -np.sin(depth) * out - np.cos(depth) * normal


@dataclass(frozen=True)
class Facets:
    """Of the ground about a place: outward unit normals and middles (3, n), and the areas (n,) that count."""

    normals: np.ndarray
    middles_m: np.ndarray
    areas: np.ndarray

    @classmethod
    def one(cls, hit: Hit) -> Facets:
        """The ground at the hit itself."""
        return cls(hit.normal[:, None], hit.point_m[:, None], np.ones(1))


def ground_about(vertices: np.ndarray, facets: np.ndarray, hit: Hit, radius_m: float) -> Facets:
    """The facets within radius_m of a hit with what of their area lies within.

    Parts of facets count, so that nothing jumps as the hit moves.  Facets that face away from the one that is hit
    belong to the other side of a thin body and do not count.  With a radius of 0: the facet that is hit, alone.
    """
    a, b, c = vertices[facets].transpose(1, 0, 2)
    middle = (a + b + c) / 3.0
    reach = np.sqrt(np.max([np.sum((x - middle) ** 2, axis=1) for x in (a, b, c)], axis=0))
    near = np.flatnonzero(np.linalg.norm(middle - hit.point_m, axis=1) <= radius_m + reach)
    a, b, c = a[near], b[near], c[near]
    doubled = np.cross(b - a, c - a)
    normals = doubled / np.linalg.norm(doubled, axis=1)[:, None]
    areas = np.where(normals @ hit.normal > 0.0, _areas_within(a, b, c, normals, hit.point_m, radius_m), 0.0)
    some = areas > 0.0
    if not some.any():
        return Facets.one(hit)
    return Facets(normals[some].T, middle[near][some].T, areas[some])


def mean_normal(vertices: np.ndarray, facets: np.ndarray, hit: Hit, radius_m: float) -> np.ndarray:
    """Unit normal (3,) of the ground about a hit: the mean of ground_about, by area."""
    ground = ground_about(vertices, facets, hit, radius_m)
    total = ground.normals @ ground.areas
    return total / np.linalg.norm(total)


def mean_edge_m(vertices: np.ndarray, facets: np.ndarray) -> float:
    """Mean length of the edges of facets: a mesh knows of no slopes that are finer."""
    return float(np.mean(np.linalg.norm(vertices[facets] - vertices[np.roll(facets, 1, axis=1)], axis=2)))


def _areas_within(a, b, c, normals, centre, radius_m: float) -> np.ndarray:
    """(n,) m2 of triangles a, b, c (n, 3) inside a ball: each meets the disc that its plane cuts out of it.

    The triangle is the sum of three, signed, between the disc's centre and an edge: a part of the edge inside the disc
    makes a triangle, what is outside makes sectors.
    """
    height = np.sum((centre - a) * normals, axis=1)
    square = np.maximum(radius_m**2 - height**2, 0.0)
    one = (b - a) / np.linalg.norm(b - a, axis=1)[:, None]
    two, foot = np.cross(normals, one), centre - height[:, None] * normals
    corners = [np.array([np.sum((x - foot) * axis, axis=1) for axis in (one, two)]) for x in (a, b, c)]
    total = np.zeros(len(a))
    for p, q in zip(corners, corners[1:] + corners[:1], strict=True):
        d = q - p
        dd, pd = np.sum(d * d, axis=0), np.sum(p * d, axis=0)
        half = np.sqrt(np.maximum(pd**2 - dd * (np.sum(p * p, axis=0) - square), 0.0))
        u, v = (p + np.clip((sign * half - pd) / dd, 0.0, 1.0) * d for sign in (-1.0, 1.0))
        total += 0.5 * (_cross2(u, v) + square * (_angle(p, u) + _angle(v, q)))
    return np.where(square > 0.0, np.maximum(total, 0.0), 0.0)


def _cross2(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    return u[0] * v[1] - u[1] * v[0]


def _angle(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    return np.arctan2(_cross2(u, v), np.sum(u * v, axis=0))


def _along_ray(points: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """Shear and permute (n, 3) points so that the ray becomes the third axis and lengths along it are kept."""
    main = int(np.argmax(np.abs(direction)))
    one, two = (main + 1) % 3, (main + 2) % 3
    depth = points[:, main] / direction[main]
    return np.stack([points[:, one] - direction[one] * depth, points[:, two] - direction[two] * depth, depth], axis=1)
