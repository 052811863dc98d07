"""Triangle meshes of ellipsoids, for what is summed facet by facet."""

from __future__ import annotations

from functools import lru_cache
from math import ceil, sqrt

import numpy as np

_GOLDEN = 0.5 * (1.0 + sqrt(5.0))
_CORNERS = np.array(
    [(0.0, i, j * _GOLDEN) for i in (-1.0, 1.0) for j in (-1.0, 1.0)]
    + [(i, j * _GOLDEN, 0.0) for i in (-1.0, 1.0) for j in (-1.0, 1.0)]
    + [(j * _GOLDEN, 0.0, i) for i in (-1.0, 1.0) for j in (-1.0, 1.0)]
)


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
