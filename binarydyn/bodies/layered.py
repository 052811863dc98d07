"""A body that is not the same throughout: an outer shape with parts of other density in it, a core or lumps.

Its integrals are those of the outer shape plus, for each part, those of its excess density over what it lies in.  Each
part's integrals are moved to the common frame exactly, as polynomials: x -> R x + t in every monomial to degree 8.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ..errors import InputError
from ..kinds import check_kind
from .containment import farthest
from .ellipsoid import Ellipsoid, positive
from .inclusion import Inclusion, Shape, hosts
from .integrals import DEGREE, are_even, place_of_moment
from .moved import mass_integrals, moved
from .polyhedron import Mesh
from .principal import principal_axes
from .surface import Facets, Hit, direction_of, ground_about, hit_ellipsoid, hit_mesh, mean_normal

_PLACE = place_of_moment()


@dataclass(frozen=True, eq=False)
class Layered:
    """An outer shape, whose density is that of the matrix, and inclusions with densities of their own.

    An inclusion may lie in another one, whose place it then takes; otherwise they may not overlap.  InputError where
    one overlaps another in part or sticks out.  x_principal = axes @ (x_given - centre_m), x_given in the frame in
    which the outer shape was given.  Surfaces are those of the outer shape, seen from the common centre of mass.
    """

    shape: Shape
    inclusions: tuple[Inclusion, ...]
    axes: np.ndarray = field(init=False)
    centre_m: np.ndarray = field(init=False)
    moments: np.ndarray = field(init=False)
    """int x^i y^j z^k dm, kg m^(i+j+k), as place_of_moment lists them."""

    def __post_init__(self):
        check_kind("Layered.shape", self.shape, "Ellipsoid", "Mesh")
        check_kind("Layered.inclusions", self.inclusions, tuple, list)
        outer, parts = self.shape, tuple(self.inclusions)
        for part in parts:
            check_kind("Layered.inclusions", part, "Inclusion")
        sums = self._sums(parts)
        centre = np.array([sums[_PLACE[p]] for p in ((1, 0, 0), (0, 1, 0), (0, 0, 1))]) / sums[0]
        turn = principal_axes(_inertia(moved(np.eye(3), -centre) @ sums))
        self._set(
            inclusions=parts,
            axes=turn @ outer.axes,
            centre_m=outer.centre_m + outer.axes.T @ centre,
            moments=moved(turn, -turn @ centre) @ sums,
        )

    def _sums(self, parts: tuple[Inclusion, ...]) -> np.ndarray:
        """Integrals of the whole in the principal frame of the outer shape."""
        outer, sums = self.shape, mass_integrals(self.shape)
        for part, host in zip(parts, hosts(outer, parts), strict=True):
            excess = 1.0 - (outer if host is None else parts[host].shape).density_kg_m3 / part.shape.density_kg_m3
            sums = sums + excess * (moved(*part.placed_in(outer)) @ mass_integrals(part.shape))
        return sums

    def _set(self, **fields) -> None:
        for name, value in fields.items():
            if isinstance(value, np.ndarray):
                value.flags.writeable = False
            object.__setattr__(self, name, value)

    @classmethod
    def of_mass(cls, shape: Shape, inclusions: tuple[Inclusion, ...], mass_kg: float) -> Layered:
        """The body of this total mass: the inclusions keep their densities, the outer shape's is found from it."""
        one, two = (cls(replace(shape, density_kg_m3=density), inclusions).mass_kg for density in (1e3, 2e3))
        least, room = 2.0 * one - two, two - one
        density = 1e3 * (positive("mass_kg", mass_kg) - least) / room if room > 1e-9 * one else 0.0
        if not density > 0.0:
            raise InputError(
                "mass_kg",
                f"{mass_kg:g} kg given, allowed is more than the {least:.6g} kg of its inclusions; correct one of them",
            )
        return cls(replace(shape, density_kg_m3=density), inclusions)

    def moment(self, i: int, j: int, k: int) -> float:
        """int x^i y^j z^k dm in the principal frame, kg m^(i+j+k); InputError beyond a total degree of 8."""
        try:
            return float(self.moments[_PLACE[i, j, k]])
        except KeyError:
            raise InputError(
                "moment", f"exponents {(i, j, k)} given, whole numbers from zero with a sum up to {DEGREE} are allowed"
            ) from None

    @property
    def mass_kg(self) -> float:
        """Of all parts together."""
        return float(self.moments[0])

    @property
    def volume_m3(self) -> float:
        """Of the outer shape."""
        return self.shape.volume_m3

    @property
    def density_kg_m3(self) -> float:
        """Mean density."""
        return self.mass_kg / self.volume_m3

    @property
    def inertia_kg_m2(self) -> np.ndarray:
        """(3,) principal moments of inertia, ascending."""
        return np.sort(np.diag(_inertia(self.moments)))

    @cached_property
    def is_even(self) -> bool:
        """Whether moments with an odd exponent vanish, as `integrals.are_even` says."""
        return are_even(self.moments, self.mass_kg, self._extent_m)

    def scaled_mass(self, factor: float) -> Layered:
        """The same shapes with every density `factor` times as large."""
        factor, scaled = positive("factor", factor), copy(self)
        scaled._set(
            shape=self.shape.scaled_mass(factor),
            inclusions=tuple(replace(part, shape=part.shape.scaled_mass(factor)) for part in self.inclusions),
            moments=factor * self.moments,
        )
        return scaled

    # The outer surface, seen from the common centre of mass along the common axes:

    @cached_property
    def _surface(self) -> tuple[np.ndarray, np.ndarray]:
        """turn, shift with x_principal = turn @ x_shape + shift, x_shape in the principal frame of the outer shape."""
        turn = self.axes @ self.shape.axes.T
        return turn, self.axes @ (self.shape.centre_m - self.centre_m)

    @cached_property
    def vertices_m(self) -> np.ndarray:
        """(n, 3) points of the outer surface: the vertices of a mesh, of an ellipsoid a grid of 5 degrees."""
        turn, shift = self._surface
        if isinstance(self.shape, Mesh):
            return self.shape.vertices_m @ turn.T + shift
        grid = [direction_of(longitude, latitude) for longitude in range(0, 360, 5) for latitude in range(-90, 91, 5)]
        return (np.array(grid) * self.shape.semi_axes_m) @ turn.T + shift

    @cached_property
    def _extent_m(self) -> np.ndarray:
        """(3,) largest distance of the surface from the centre of mass along each principal axis."""
        if isinstance(self.shape, Mesh):
            return np.abs(self.vertices_m).max(axis=0)
        turn, shift = self._surface
        return np.linalg.norm(turn * self.shape.semi_axes_m, axis=1) + np.abs(shift)

    @cached_property
    def bounding_radius_m(self) -> float:
        """Radius of the sphere about the centre of mass that holds the body."""
        return self._reach(np.ones(3))

    @cached_property
    def enclosing_axes_m(self) -> np.ndarray:
        """(3,) semi-axes of an ellipsoid about the centre of mass that holds the body, as a Mesh's."""
        return self._extent_m * self._reach(self._extent_m)

    def _reach(self, unit_m: np.ndarray) -> float:
        """Largest |x / unit| on the surface."""
        if isinstance(self.shape, Mesh):
            return float(np.linalg.norm(self.vertices_m / unit_m, axis=1).max())
        turn, shift = self._surface
        return farthest(turn * self.shape.semi_axes_m / unit_m[:, None], shift / unit_m)

    def hit(self, origin_m, direction) -> Hit | None:
        """First meeting of a ray (body frame) with the outer surface, also from inside; None if it misses."""
        return self._hit(np.asarray(origin_m, dtype=float), np.asarray(direction, dtype=float), outermost=False)

    def normal_about(self, hit: Hit, radius_m: float) -> np.ndarray:
        """(3,) mean normal, by area, of the ground within radius_m of a hit."""
        if isinstance(self.shape, Ellipsoid):
            turn, shift = self._surface
            own = replace(hit, point_m=turn.T @ (hit.point_m - shift), normal=turn.T @ hit.normal)
            return turn @ self.shape.normal_about(own, radius_m)
        if hit.facet is None:
            return hit.normal
        return mean_normal(self.vertices_m, self.shape.facets, hit, radius_m)

    def ground_about(self, hit: Hit, radius_m: float) -> Facets:
        """The facets within radius_m of a hit; of an ellipsoid the ground at the hit."""
        if hit.facet is None or isinstance(self.shape, Ellipsoid):
            return Facets.one(hit)
        return ground_about(self.vertices_m, self.shape.facets, hit, radius_m)

    @property
    def spacing_m(self) -> float:
        """Mean length of the edges of the outer shape; 0 where that is smooth."""
        return self.shape.spacing_m

    def at_longitude_latitude(self, longitude_deg: float, latitude_deg: float) -> Hit:
        """The outermost ground seen from the centre of mass: longitude from x towards y, latitude towards z."""
        hit = self._hit(np.zeros(3), direction_of(longitude_deg, latitude_deg), outermost=True)
        if hit is None:
            raise InputError(
                "longitude_deg, latitude_deg",
                f"{longitude_deg}, {latitude_deg} given, but no ground lies in this direction from the centre of mass, "
                "which is outside the body; choose another direction",
            )
        return hit

    def _hit(self, origin: np.ndarray, direction: np.ndarray, outermost: bool) -> Hit | None:
        if isinstance(self.shape, Mesh):
            return hit_mesh(self.vertices_m, self.shape.facets, origin, direction, outermost)
        turn, shift = self._surface
        hit = hit_ellipsoid(self.shape.enclosing_axes_m, turn.T @ (origin - shift), turn.T @ direction)
        return None if hit is None else replace(hit, point_m=turn @ hit.point_m + shift, normal=turn @ hit.normal)


def _inertia(moments: np.ndarray) -> np.ndarray:
    """Tensor of inertia (3, 3) about the origin."""
    xx, yy, zz, xy, xz, yz = (
        moments[_PLACE[p]] for p in ((2, 0, 0), (0, 2, 0), (0, 0, 2), (1, 1, 0), (1, 0, 1), (0, 1, 1))
    )
    return np.array([[yy + zz, -xy, -xz], [-xy, xx + zz, -yz], [-xz, -yz, xx + yy]])
