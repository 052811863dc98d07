"""Where impactors meet the secondary: the line of flight and the actual shape, or a point of the surface by name.

The line is straight and the bodies stand as they do at the instant of contact: at km/s the system is crossed in less
than a second, in which the secondary moves by decimetres and turns by about a hundredth of a degree.  Of one system or
of many side by side: directions (3, n) in the frames of the secondaries, which are ellipsoids with semi_axes_m (3,) or
(3, n), or one body of any other shape.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..bodies import Hit
from ..bodies.surface import ellipsoid_distance, ellipsoid_mean_normal
from ..columns import angle_deg, cross, dot, length, towards, unit
from ..kinds import sure

EDGE_ON_COSINE = 1e-7
"""Rounding makes of a tangent line a chord of 1e-8 of the size, the root of 1e-16: below this a flight only touches."""


@dataclass(frozen=True)
class Site:
    """Point (3,) and outward unit normal (3,) in the body frame of the secondary, origin at its centre of mass.

    lever_arm_m: distance of the line of flight from the centre of mass.  incidence_deg: between the way back, -U,
    and the normal; 0 is an impact straight down.  A normal that is the mean over a footprint may even face away, beyond
    90 deg.  normal_radius_m: how wide that mean is; hit: the place with the normal of its facet.
    """

    point_m: np.ndarray
    normal: np.ndarray
    lever_arm_m: float
    incidence_deg: float
    normal_radius_m: float
    hit: Hit

    @property
    def longitude_deg(self) -> float:
        """East longitude of the point seen from the centre of mass, -180 to 180."""
        return float(longitude_latitude_deg(self.point_m)[0])

    @property
    def latitude_deg(self) -> float:
        """Latitude of the point seen from the centre of mass, -90 to 90."""
        return float(longitude_latitude_deg(self.point_m)[1])


def longitude_latitude_deg(point_m: np.ndarray) -> np.ndarray:
    """(2,) or (2, n) of points (3,) or (3, n), seen from the centre of mass."""
    x, y, z = point_m
    return np.degrees([np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))])


@dataclass(frozen=True)
class Sites:
    """Where n lines of flight end: points and outward unit normals (3, n) in the body frames, how far along the ray.

    why (n,): why a line misses, empty where it is met; the rest means nothing then.  hits: of single rays, on bodies
    that are no ellipsoids; their normals are those of facets.
    """

    point_m: np.ndarray
    normal: np.ndarray
    distance_m: np.ndarray
    met: np.ndarray
    why: np.ndarray
    hits: Sequence[Hit | None] = ()

    @classmethod
    def found(
        cls, point_m: np.ndarray, normal: np.ndarray, distance_m: np.ndarray, met: np.ndarray, hits: Sequence = ()
    ) -> Sites:
        """Without reasons yet."""
        return cls(point_m, normal, distance_m, met, np.full(len(met), "", dtype=object), hits)

    def missed(self, at: np.ndarray, why: Callable[[int], str]) -> Sites:
        """The same, but that those `at` (n,), where no reason stands yet, miss for a reason."""
        at, reasons = at & (self.why == ""), self.why.copy()
        for i in np.flatnonzero(at).tolist():
            reasons[i] = why(i)
        return replace(self, met=self.met & ~at, why=reasons)

    def one(self, i: int, flight: np.ndarray, normal_radius_m: float) -> Site:
        """One that is met by a flight (3,) in its body frame."""
        point, normal = self.point_m[:, i], self.normal[:, i]
        lever_arm, incidence = float(length(cross(point, flight))), float(angle_deg(normal, -flight))
        hit = self.hits[i] if self.hits else Hit(point, normal, float(self.distance_m[i]))
        return Site(point, normal, lever_arm, incidence, normal_radius_m, sure(hit))


BEHIND = "the line of flight meets the primary before the secondary; choose another direction"


def sites_by_aim(body: Any, flight: np.ndarray, offset_m: np.ndarray, normal_radius_m: float = 0.0) -> Sites:
    """First meetings of the lines of flight with the surface.

    flight (3, n) unit, offset_m (3, n) of the lines from the centre of mass and normal to them, both in the body frame;
    a normal is the mean over the ground within normal_radius_m.
    """
    found, off = _first_met(body, offset_m - 2.0 * body.bounding_radius_m * flight, flight), length(offset_m)
    missed = found.missed(
        ~found.met,
        lambda i: (
            f"the line of flight passes the secondary's centre at {off[i]:.6g} m and does not meet its surface; aim "
            "closer to the centre"
        ),
    )
    touches = "the line of flight only touches the secondary's surface; aim closer to the centre"
    return _averaged(body, missed.missed(_edge_on(found, flight), lambda i: touches), normal_radius_m)


def sites_by_coordinates(
    body: Any, flight: np.ndarray, longitude_deg: np.ndarray, latitude_deg: np.ndarray, normal_radius_m: float = 0.0
) -> Sites:
    """The ground at body longitudes and latitudes (n,), where the flights (3, n), body frame, can reach it.

    InputError for coordinates that name no ground.
    """
    found = _ground_at(body, flight, longitude_deg, latitude_deg)
    steep = angle_deg(found.normal, -flight)

    def place(i: int) -> str:
        return f"the site at longitude {longitude_deg[i]:g}, latitude {latitude_deg[i]:g} deg"

    found = found.missed(
        _edge_on(found, flight),
        lambda i: (
            f"{place(i)} faces away from the impactor ({steep[i]:.1f} deg between its normal and the way back, less "
            "than 90 is allowed); choose a site on the other side"
        ),
    )
    hidden = _hidden(body, found, flight)
    found = found.missed(
        hidden, lambda i: f"{place(i)} is hidden from the impactor by higher ground; choose a site in view"
    )
    return _averaged(body, found, normal_radius_m)


def are_behind(body: Any, point_m: np.ndarray, flight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) whether a line of flight meets another body on its way to a point, all (3, n) in that body's frame, and
    whether that is unsure: of bodies that can be hit by no ray it is asked of the sphere about them."""
    if hasattr(body, "semi_axes_m") or hasattr(body, "hit"):
        behind = _first_met(body, point_m, -flight).met
        return behind, np.zeros_like(behind)
    radius = np.ones((3, 1)) * body.bounding_radius_m
    behind = ellipsoid_distance(radius, point_m, -flight)[1]
    return np.zeros_like(behind), behind


def _edge_on(found: Sites, flight: np.ndarray) -> np.ndarray:
    return dot(found.normal, flight) > -EDGE_ON_COSINE


def _first_met(body: Any, origin_m: np.ndarray, ray: np.ndarray) -> Sites:
    """Where rays (3, n) from outside, or from the centre, meet a body."""
    if not hasattr(body, "semi_axes_m"):
        return _of_hits([body.hit(*each) for each in zip(origin_m.T, ray.T, strict=True)])
    shape = np.reshape(body.semi_axes_m, (3, -1))
    distance, met = ellipsoid_distance(shape, origin_m, ray)
    point = origin_m + distance * ray
    return Sites.found(point, unit(point / shape**2), distance, met)


def _ground_at(body: Any, flight: np.ndarray, longitude_deg: np.ndarray, latitude_deg: np.ndarray) -> Sites:
    """Whatever the flight."""
    if hasattr(body, "semi_axes_m"):
        return _first_met(body, np.zeros_like(flight), towards(longitude_deg, latitude_deg))
    return _of_hits([body.at_longitude_latitude(*each) for each in zip(longitude_deg, latitude_deg, strict=True)])


def _of_hits(hits: Sequence[Hit | None]) -> Sites:
    nowhere = Hit(np.full(3, np.nan), np.full(3, np.nan), np.nan)
    point, normal, distance = (
        np.array([getattr(hit or nowhere, name) for hit in hits]).T for name in ("point_m", "normal", "distance_m")
    )
    return Sites.found(point, normal, distance, np.isfinite(distance), hits)


def _hidden(body: Any, found: Sites, flight: np.ndarray) -> np.ndarray:
    """Whether a line from outside meets other ground first; a millionth of the size is left to rounding."""
    if hasattr(body, "semi_axes_m"):
        return np.zeros_like(found.met)
    size = body.bounding_radius_m
    return _first_met(body, found.point_m - 3.0 * size * flight, flight).distance_m < (3.0 - 1e-6) * size


def _averaged(body: Any, found: Sites, radius_m: float) -> Sites:
    """With the mean normals of the ground within a radius."""
    if not radius_m > 0.0:
        return found
    if hasattr(body, "semi_axes_m"):
        with np.errstate(all="ignore"):  # of those that are not met
            return replace(found, normal=ellipsoid_mean_normal(body.semi_axes_m, found.point_m, radius_m))
    normal = found.normal.copy()
    for i in np.flatnonzero(found.met).tolist():
        normal[:, i] = body.normal_about(found.hits[i], radius_m)
    return replace(found, normal=normal)
