"""Where the impactor meets the moonlet: the line of flight and the actual shape, or a point of the surface by name.

The line is straight and the bodies stand as they do at the instant of contact: at km/s the pair is crossed in less
than a second, in which the moonlet moves by decimetres and turns by about a hundredth of a degree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from ..bodies import Hit
from ..bodies.surface import Facets
from ..columns import cross, dot, length

EDGE_ON_COSINE = 1e-7
"""Rounding makes of a tangent line a chord of 1e-8 of the size, the root of 1e-16: below this a flight only touches."""


class Surface(Protocol):
    """What a site asks of a body; bodies/ provides it."""

    bounding_radius_m: float
    spacing_m: float

    def hit(self, origin_m, direction) -> Hit | None: ...

    def at_longitude_latitude(self, longitude_deg: float, latitude_deg: float) -> Hit: ...

    def normal_about(self, hit: Hit, radius_m: float) -> np.ndarray: ...

    def ground_about(self, hit: Hit, radius_m: float) -> Facets: ...


@dataclass(frozen=True)
class Site:
    """Point (3,) and outward unit normal (3,) in the body frame of the moonlet, origin at its centre of mass.

    lever_arm_m: distance of the line of flight from the centre of mass.  incidence_deg: between the way back, -U,
    and the normal; 0 is a hit straight down.  A normal that is the mean over a footprint may even face away, beyond
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
        return float(np.degrees(np.arctan2(self.point_m[1], self.point_m[0])))

    @property
    def latitude_deg(self) -> float:
        """Latitude of the point seen from the centre of mass, -90 to 90."""
        return float(np.degrees(np.arctan2(self.point_m[2], np.hypot(self.point_m[0], self.point_m[1]))))


@dataclass(frozen=True)
class Miss:
    """Nothing is hit; `reason` says why and what to change."""

    reason: str


ONLY_TOUCHES = "the line of flight only touches the moonlet's surface; aim closer to the centre"
BEHIND = "the line of flight meets the primary before the moonlet; choose another direction"


def passes_by(offset_m: float) -> str:
    """Why a line of flight at that distance from the centre misses."""
    return (
        f"the line of flight passes the moonlet's centre at {offset_m:.6g} m "
        "and does not meet its surface; aim closer to the centre"
    )


def faces_away(longitude_deg: float, latitude_deg: float, incidence_deg: float) -> str:
    """Why a site cannot be hit."""
    return (
        f"{_place(longitude_deg, latitude_deg)} faces away from the impactor ({incidence_deg:.1f} deg between its "
        "normal and the way back, less than 90 is allowed); choose a site on the other side"
    )


def _place(longitude_deg: float, latitude_deg: float) -> str:
    return f"the site at longitude {longitude_deg:g}, latitude {latitude_deg:g} deg"


def site_by_aim(
    body: Surface, direction: np.ndarray, offset_m: np.ndarray, normal_radius_m: float = 0.0
) -> Site | Miss:
    """First meeting of the line of flight with the surface.

    direction (3,) unit, offset_m (3,) of the line from the centre of mass and normal to it, both in the body frame;
    the normal is the mean over the ground within normal_radius_m.
    """
    hit = body.hit(offset_m - 2.0 * body.bounding_radius_m * direction, direction)
    if hit is None:
        return Miss(passes_by(float(np.linalg.norm(offset_m))))
    if hit.normal @ direction > -EDGE_ON_COSINE:
        return Miss(ONLY_TOUCHES)
    return _site(body, hit, direction, normal_radius_m)


def site_by_coordinates(
    body: Surface, direction: np.ndarray, longitude_deg: float, latitude_deg: float, normal_radius_m: float = 0.0
) -> Site | Miss:
    """The ground at a body longitude and latitude, if the direction of flight (3,), body frame, can reach it.

    InputError for coordinates that name no ground.
    """
    hit = body.at_longitude_latitude(longitude_deg, latitude_deg)
    if hit.normal @ direction > -EDGE_ON_COSINE:
        return Miss(faces_away(longitude_deg, latitude_deg, float(incidence_deg(hit.normal, direction))))
    if _hidden(body, hit, direction):
        place = _place(longitude_deg, latitude_deg)
        return Miss(f"{place} is hidden from the impactor by higher ground; choose a site in view")
    return _site(body, hit, direction, normal_radius_m)


def is_behind(body: Surface, point_m: np.ndarray, direction: np.ndarray) -> bool:
    """Whether the line of flight meets another body on its way to a point; all in that body's frame."""
    return body.hit(point_m, -direction) is not None


def _hidden(body: Surface, hit: Hit, direction: np.ndarray) -> bool:
    """Whether a line from outside meets other ground first; a millionth of the size is left to rounding."""
    size = body.bounding_radius_m
    first = body.hit(hit.point_m - 3.0 * size * direction, direction)
    return first is not None and first.distance_m < (3.0 - 1e-6) * size


def incidence_deg(normal: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """Between the way back and the normal, vectors (3,) or (3, n); an arc cosine would lose half its digits at 0."""
    return np.degrees(np.arctan2(length(cross(normal, direction)), -dot(normal, direction)))


def _site(body: Surface, hit: Hit, direction: np.ndarray, normal_radius_m: float) -> Site:
    normal = body.normal_about(hit, normal_radius_m) if normal_radius_m > 0.0 else hit.normal
    lever_arm = float(length(cross(hit.point_m, direction)))
    return Site(hit.point_m, normal, lever_arm, float(incidence_deg(normal, direction)), normal_radius_m, hit)
