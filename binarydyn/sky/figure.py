"""What of a body can be seen: its outer surface, as an ellipsoid or as a mesh, in the frame of its centre of mass; and
meshes of ellipsoids, for what is summed facet by facet.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import ceil, sqrt
from typing import Any

import numpy as np

from ..errors import InputError
from ..motion.state import Body

_GOLDEN = 0.5 * (1.0 + sqrt(5.0))
_CORNERS = np.array(
    [(0.0, i, j * _GOLDEN) for i in (-1.0, 1.0) for j in (-1.0, 1.0)]
    + [(i, j * _GOLDEN, 0.0) for i in (-1.0, 1.0) for j in (-1.0, 1.0)]
    + [(j * _GOLDEN, 0.0, i) for i in (-1.0, 1.0) for j in (-1.0, 1.0)]
)


@dataclass(frozen=True, eq=False)
class Figure:
    """The outer surface: an ellipsoid, or a mesh if it has facets.

    x_principal = turn @ x + shift_m, x in the frame in which the ellipsoid's axes are its axes; meshes are principal
    already.  vertices_m (n, 3), facets (m, 3).
    """

    semi_axes_m: np.ndarray
    turn: np.ndarray
    shift_m: np.ndarray
    vertices_m: np.ndarray
    facets: np.ndarray

    @classmethod
    def of(cls, body: Body) -> Figure:
        """Of an ellipsoid, a polyhedron or a layered body.  InputError for a stored one, which has no surface."""
        outer: Any = getattr(body, "shape", body)
        if hasattr(outer, "facets"):
            own: Any = body  # a mesh, or a layered body in one
            vertices, facets = np.asarray(own.vertices_m, dtype=float), np.asarray(outer.facets, dtype=np.int64)
            return cls(np.zeros(3), np.eye(3), np.zeros(3), np.ascontiguousarray(vertices), facets)
        if not hasattr(outer, "semi_axes_m"):
            raise InputError(
                "body",
                f"a {type(body).__name__} has no surface, allowed is an ellipsoid or a mesh; build the system anew",
            )
        turn = np.ascontiguousarray(body.axes @ outer.axes.T)
        shift = body.axes @ (outer.centre_m - body.centre_m)
        none = np.empty((0, 3))
        return cls(np.array(outer.semi_axes_m, dtype=float), turn, shift, none, none.astype(np.int64))

    @property
    def is_mesh(self) -> bool:
        """Whether it has facets."""
        return len(self.facets) > 0

    @cached_property
    def corners_m(self) -> np.ndarray:
        """(k, 3) vertices of a mesh's convex hull, which casts the same outline; none of an ellipsoid."""
        if not self.is_mesh:
            return self.vertices_m
        from scipy.spatial import ConvexHull

        return np.ascontiguousarray(self.vertices_m[ConvexHull(self.vertices_m).vertices])

    @cached_property
    def reach_m(self) -> float:
        """Greatest distance of the surface from the middle of the ellipsoid, or of a mesh from the centre of mass."""
        return float(np.linalg.norm(self.vertices_m, axis=1).max() if self.is_mesh else self.semi_axes_m.max())

    @cached_property
    def overlooked(self) -> np.ndarray:
        """(m,) facets of a mesh above whose plane a vertex lies, by more than 1e-9 of the body's size.

        No other facet can hide ground of its own body.
        """
        a, b, c = self.vertices_m[self.facets].transpose(1, 0, 2)
        normal = np.cross(b - a, c - a)
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        highest = [(part @ self.vertices_m.T).max(axis=1) for part in np.array_split(normal, len(a) // 256 + 1)]
        above = np.concatenate(highest) - np.sum(normal * a, axis=1)
        return above > 1e-9 * self.reach_m

    @property
    def is_convex(self) -> bool:
        """Whether no facet is overlooked."""
        return not (self.is_mesh and self.overlooked.any())

    def placed(self, position_m: np.ndarray, rotation: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(m, 3) and (m, 3, 3): middle and axes of the surface for a centre of mass (m, 3) and body axes (m, 3, 3)."""
        return position_m + rotation @ self.shift_m, np.ascontiguousarray(rotation @ self.turn)


def mesh_of_ellipsoid(semi_axes_m: np.ndarray, facets: int = 2000) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n, 3) on the surface and facets (m, 3), m = 20 k^2 at least `facets`, corners anticlockwise.

    A geodesic sphere, the icosahedron with k parts to an edge, stretched along the axes and swollen so that it has the
    ellipsoid's volume: areas and outlines are then right to 1/m.
    """
    sphere, triangles = _sphere(max(1, ceil(sqrt(facets / 20.0))))
    a, b, c = sphere[triangles].transpose(1, 0, 2)
    volume = np.sum(a * np.cross(b, c)) / 6.0
    return sphere * np.asarray(semi_axes_m) * (4.0 / 3.0 * np.pi / volume) ** (1.0 / 3.0), triangles


@lru_cache(maxsize=4)
def _sphere(parts: int) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors and triangles of the geodesic sphere."""
    from scipy.spatial import ConvexHull

    corners = _CORNERS / np.linalg.norm(_CORNERS[0])
    points = []
    for face in ConvexHull(corners).simplices:
        a, b, c = corners[face]
        grid = [(i, j) for i in range(parts + 1) for j in range(parts + 1 - i)]
        points += [(i * a + j * b + (parts - i - j) * c) / parts for i, j in grid]
    sphere = np.array(points)
    sphere /= np.linalg.norm(sphere, axis=1)[:, None]
    _, places = np.unique(np.round(sphere, 9), axis=0, return_index=True)
    sphere = sphere[places]
    triangles = ConvexHull(sphere).simplices.astype(np.int64)
    a, b, c = sphere[triangles].transpose(1, 0, 2)
    inward = np.sum(a * np.cross(b, c), axis=1) < 0.0
    triangles[inward] = triangles[inward][:, ::-1]
    return sphere, triangles
