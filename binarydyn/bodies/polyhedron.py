"""A homogeneous body under a closed triangle mesh: its mass, principal frame, inertia integrals and surface."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError, ShapeError
from ..kinds import PATH, check_kind
from ..notebook import Displayed
from .ellipsoid import positive
from .integrals import DEGREE, are_even, place_of_moment, volume_integrals
from .meshes.mesh_file import read_mesh
from .meshes.solid import require_solid
from .principal import principal_axes
from .surface import Facets, Hit, direction_of, ground_about, hit_mesh, mean_edge_m, mean_normal

_PLACE = place_of_moment()
_SECOND = place_of_moment(2)


@dataclass(frozen=True, eq=False, repr=False)
class Mesh(Displayed):
    """A homogeneous body under a closed triangle mesh, in its principal frame.

    Made from vertices_m (n, 3), facets (m, 3) counting from 0, corners anticlockwise from outside, and density_kg_m3,
    or by `read` from a file.  Once made, vertices_m are about the centre of mass, x = axes @ (x_given - centre_m), and
    integrals_m are int x^i y^j z^k dV to total degree 8.  ShapeError if it is no closed, connected solid with its
    facets outward.

    >>> import binarydyn as bd
    >>> corners = [[0, 0, 0], [90, 0, 0], [0, 80, 0], [0, 0, 70]]
    >>> bd.Mesh(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]], 2400.0)
    <Mesh 4 facets, 8.4e+04 m3, 2.016e+08 kg, within 72.54 m>
    """

    vertices_m: np.ndarray
    facets: np.ndarray
    density_kg_m3: float
    axes: Any = None
    centre_m: Any = None
    integrals_m: Any = None
    source: tuple[str, str] | None = None
    """File and unit of a mesh that was read."""

    def __post_init__(self) -> None:
        if self.integrals_m is None:
            vertices, facets = _checked(self.vertices_m, self.facets)
            object.__setattr__(self, "density_kg_m3", positive("density_kg_m3", self.density_kg_m3))
            for name, value in zip(_FRAME, _in_principal_frame(vertices, facets), strict=True):
                object.__setattr__(self, name, value)

    @classmethod
    def read(
        cls, path: str | Path, unit: str, density_kg_m3: float | None = None, mass_kg: float | None = None
    ) -> Mesh:
        """Body from OBJ-style text, STL or PLY with coordinates in `unit` ("m" or "km"); density or mass, one of them.

        ShapeError as of Mesh, InputError for a file that is none or an unknown unit.
        """
        check_kind("Mesh.read", path, *PATH)
        check_kind("Mesh.read(unit)", unit, str)
        if (density_kg_m3 is None) == (mass_kg is None):
            given = "neither" if mass_kg is None else "both"
            raise InputError(
                "density_kg_m3, mass_kg", f"{given} given, exactly one of the two is allowed; state the one you know"
            )
        vertices, facets, lines = read_mesh(path, unit)
        require_solid(vertices, facets, str(path), first=1, lines=lines)
        density = 1.0 if density_kg_m3 is None else positive("density_kg_m3", density_kg_m3)
        frame = dict(zip(_FRAME, _in_principal_frame(vertices, facets), strict=True))
        body = cls(**frame, density_kg_m3=density, source=(str(Path(path).absolute()), unit))
        return body if mass_kg is None else body.scaled_mass(positive("mass_kg", mass_kg) / body.mass_kg)

    @property
    def scenario_keys(self) -> dict[str, Any]:
        """What a scenario says of it.  InputError where it was not read from a file."""
        if self.source is None:
            raise InputError(
                "Mesh", "it comes from no file, which a scenario names; write it to one and read that, or use pair(..)"
            )
        return {
            "polyhedron": dict(zip(("file", "unit"), self.source, strict=True)),
            "density_kg_m3": self.density_kg_m3,
        }

    def _line(self) -> str:
        size = f"{self.volume_m3:.4g} m3, {self.mass_kg:.4g} kg, within {self.bounding_radius_m:.4g} m"
        return f"{len(self.facets)} facets, {size}"

    def _facts(self) -> dict[str, Any]:
        names = ("volume_m3", "density_kg_m3", "mass_kg", "inertia_kg_m2", "bounding_radius_m", "source")
        return {"facets": len(self.facets)} | {name: getattr(self, name) for name in names}

    @property
    def volume_m3(self) -> float:
        """Volume of the solid."""
        return float(self.integrals_m[0])

    @property
    def mass_kg(self) -> float:
        """Density times volume."""
        return self.density_kg_m3 * self.volume_m3

    def moment(self, i: int, j: int, k: int) -> float:
        """int x^i y^j z^k dm about the centre of mass, principal frame, kg m^(i+j+k); InputError beyond degree 8."""
        try:
            return self.density_kg_m3 * float(self.integrals_m[_PLACE[i, j, k]])
        except KeyError:
            raise InputError(
                "moment", f"exponents {(i, j, k)} given, whole numbers from zero with a sum up to {DEGREE} are allowed"
            ) from None

    @cached_property
    def inertia_kg_m2(self) -> np.ndarray:
        """(3,) principal moments of inertia, ascending."""
        xx, yy, zz = self.moment(2, 0, 0), self.moment(0, 2, 0), self.moment(0, 0, 2)
        return np.sort([yy + zz, xx + zz, xx + yy])

    @cached_property
    def is_even(self) -> bool:
        """Whether moments with an odd exponent vanish, as `integrals.are_even` says."""
        return are_even(self.integrals_m, self.volume_m3, self._extent_m)

    @cached_property
    def _extent_m(self) -> np.ndarray:
        """(3,) largest distance of a vertex from the centre of mass along each principal axis."""
        return np.abs(self.vertices_m).max(axis=0)

    @cached_property
    def bounding_radius_m(self) -> float:
        """Radius of the sphere about the centre of mass that holds the body."""
        return float(np.linalg.norm(self.vertices_m, axis=1).max())

    @cached_property
    def enclosing_axes_m(self) -> np.ndarray:
        """(3,) semi-axes along x, y, z of an ellipsoid about the centre of mass that holds the body.

        Its proportions are the body's extents along the principal axes, its size the smallest that holds every
        vertex; it is an envelope, not the tightest one.
        """
        extent = self._extent_m
        return extent * np.linalg.norm(self.vertices_m / extent, axis=1).max()

    def scaled_mass(self, factor: float) -> Mesh:
        """The same shape with `factor` times the mass."""
        return replace(self, density_kg_m3=self.density_kg_m3 * positive("factor", factor))

    def hit(self, origin_m, direction) -> Hit | None:
        """First facet met by a ray (body frame), also from inside; None if it misses."""
        return hit_mesh(self.vertices_m, self.facets, origin_m, direction)

    def normal_about(self, hit: Hit, radius_m: float) -> np.ndarray:
        """(3,) mean normal, by area, of the ground within radius_m of a hit; of the facet that is hit for 0."""
        return mean_normal(self.vertices_m, self.facets, hit, radius_m)

    def ground_about(self, hit: Hit, radius_m: float) -> Facets:
        """The facets within radius_m of a hit."""
        return ground_about(self.vertices_m, self.facets, hit, radius_m)

    @cached_property
    def spacing_m(self) -> float:
        """Mean length of the edges."""
        return mean_edge_m(self.vertices_m, self.facets)

    def at_longitude_latitude(self, longitude_deg: float, latitude_deg: float) -> Hit:
        """The outermost ground seen from the centre of mass: longitude from x towards y, latitude towards z."""
        outward = direction_of(longitude_deg, latitude_deg)
        hit = hit_mesh(self.vertices_m, self.facets, np.zeros(3), outward, outermost=True)
        if hit is None:
            raise InputError(
                "longitude_deg, latitude_deg",
                f"{longitude_deg}, {latitude_deg} given, but no ground lies in this direction from the centre of mass, "
                "which is outside the body; choose another direction",
            )
        return hit


_FRAME = ("vertices_m", "facets", "axes", "centre_m", "integrals_m")


def _checked(vertices_m: object, facets: object) -> tuple[np.ndarray, np.ndarray]:
    """Both as arrays of one closed solid; ShapeError else."""
    try:
        vertices, corners = np.array(vertices_m, dtype=float), np.array(facets)
    except (TypeError, ValueError):
        raise ShapeError("vertices_m", "no table of numbers given, finite numbers (n, 3) are allowed") from None
    if vertices.ndim != 2 or vertices.shape[1] != 3 or not np.all(np.isfinite(vertices)):
        raise ShapeError("vertices_m", f"shape {vertices.shape} given, finite numbers (n, 3) are allowed")
    if corners.ndim != 2 or corners.shape[1] != 3 or not corners.size or corners.dtype.kind not in "iu":
        raise ShapeError("facets", f"{corners.dtype} {corners.shape} given, whole numbers (m, 3) are allowed")
    if corners.min() < 0 or corners.max() >= len(vertices):
        raise ShapeError("facets", f"{corners.min()} to {corners.max()} given, 0 to {len(vertices) - 1} is allowed")
    corners = corners.astype(np.int64)
    require_solid(vertices, corners, "facets")
    return vertices, corners


def _in_principal_frame(vertices: np.ndarray, facets: np.ndarray) -> tuple[np.ndarray, ...]:
    """What _FRAME names: shift to the centre of mass, turn to the principal axes, and only then integrate.

    So no large sums cancel.
    """
    used, facets = np.unique(facets, return_inverse=True)
    vertices, facets = vertices[used], np.ascontiguousarray(facets.reshape(-1, 3))
    centre = vertices.mean(axis=0)
    for _ in range(2):
        volume, first = _volume_and_first(vertices - centre, facets)
        centre = centre + first / volume
    second = volume_integrals(vertices - centre, facets, 2)
    axes = principal_axes(_inertia_matrix(second))
    vertices = (vertices - centre) @ axes.T
    # The rotation is a matrix of rounded numbers; what is left of the first moments is a last shift.
    volume, first = _volume_and_first(vertices, facets)
    vertices = np.ascontiguousarray(vertices - first / volume)
    integrals = volume_integrals(vertices, facets, DEGREE)
    for array in (vertices, facets, axes, centre, integrals):
        array.flags.writeable = False
    return vertices, facets, axes, centre, integrals


def _volume_and_first(vertices: np.ndarray, facets: np.ndarray) -> tuple[float, np.ndarray]:
    """Volume and the three integrals of x, y, z."""
    sums, place = volume_integrals(np.ascontiguousarray(vertices), facets, 1), place_of_moment(1)
    return sums[0], np.array([sums[place[1, 0, 0]], sums[place[0, 1, 0]], sums[place[0, 0, 1]]])


def _inertia_matrix(second: np.ndarray) -> np.ndarray:
    """Tensor of inertia (3, 3) of unit density from the integrals to degree 2."""
    at = {ijk: second[n] for ijk, n in _SECOND.items()}
    xx, yy, zz = at[2, 0, 0], at[0, 2, 0], at[0, 0, 2]
    xy, xz, yz = at[1, 1, 0], at[1, 0, 1], at[0, 1, 1]
    return np.array([[yy + zz, -xy, -xz], [-xy, xx + zz, -yz], [-xz, -yz, xx + yy]])
