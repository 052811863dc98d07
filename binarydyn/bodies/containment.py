"""Which of two solids holds the other, and whether they keep clear of each other: for bodies made of several parts.

A solid is `Ball`, the image x = centre + matrix u of the unit ball |u| <= 1 (an ellipsoid anywhere, any way round), or
`Shell`.  Wherever a ball takes part the answer is exact but for `TOUCH`; of two meshes only the vertices are looked at,
so that an edge which pierces a facet between its corners is missed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .contact import ellipsoids_touch

TOUCH = 1e-9
"""Share of the size by which solids may overlap or stick out: what rounding makes of surfaces that touch."""


@dataclass(frozen=True)
class Ball:
    """centre (3,), matrix (3, 3), m."""

    centre: np.ndarray
    matrix: np.ndarray

    def to_unit(self, points: np.ndarray) -> np.ndarray:
        """Points (n, 3) in the coordinates in which this is the unit ball."""
        return np.linalg.solve(self.matrix, (points - self.centre).T).T


@dataclass(frozen=True)
class Shell:
    """vertices (n, 3), m, facets (m, 3) outward."""

    vertices: np.ndarray
    facets: np.ndarray

    def shrunk(self) -> Shell:
        """Drawn in by TOUCH, so that no vertex lies in the surface of a solid that this one touches."""
        return Shell(self.vertices + TOUCH * (self.vertices.mean(axis=0) - self.vertices), self.facets)


def holds(outer: Ball | Shell, inner: Ball | Shell) -> bool:
    """Whether `inner` lies wholly in `outer`; surfaces may touch."""
    if isinstance(outer, Ball):
        if isinstance(inner, Shell):
            return bool(np.linalg.norm(outer.to_unit(inner.vertices), axis=1).max() <= 1.0 + TOUCH)
        matrix = np.linalg.solve(outer.matrix, inner.matrix)
        return farthest(matrix, outer.to_unit(inner.centre[None])[0]) <= 1.0 + TOUCH
    if isinstance(inner, Ball):
        return is_inside(outer, inner.centre) and _nearest_facet(outer, inner) >= 1.0 - TOUCH
    inner = inner.shrunk()
    return all(is_inside(outer, point) for point in inner.vertices) and _no_vertex_inside(inner, outer)


def clear(one: Ball | Shell, two: Ball | Shell) -> bool:
    """Whether the two have no volume in common; surfaces may touch."""
    if isinstance(one, Ball) and isinstance(two, Ball):
        # Where `one` is the unit ball, `two` is an ellipsoid whose axes are the singular vectors.
        turn, axes, _ = np.linalg.svd(np.linalg.solve(one.matrix, two.matrix))
        between = one.to_unit(two.centre[None])[0]
        return ellipsoids_touch(1.0, 1.0, 1.0, *axes, *between, *turn.ravel()) >= -TOUCH
    if isinstance(one, Ball):
        return clear(two, one)
    if isinstance(two, Shell):
        one, two = one.shrunk(), two.shrunk()
        return _no_vertex_inside(one, two) and _no_vertex_inside(two, one)
    return not is_inside(one, two.centre) and _nearest_facet(one, two) >= 1.0 - TOUCH


def farthest(matrix: np.ndarray, centre: np.ndarray) -> float:
    """Largest |centre + matrix u| for |u| <= 1: how far an ellipsoid reaches from the origin.

    The maximum of a quadratic form on a sphere is the minimum over l >= p_max of l + sum q^2 / (l - p), p the
    eigenvalues of matrix^T matrix and q the components of matrix^T centre (Lagrange duality without a gap, Sorensen
    1982, SIAM J. Numer. Anal. 19, 409); that l lies between every p + |q_p| and p_max + |q|.
    """
    from scipy.optimize import brentq

    p, columns = np.linalg.eigh(matrix.T @ matrix)
    q = columns.T @ (matrix.T @ centre)
    some, largest, length = np.abs(q) > 1e-14 * p[2], p[2], np.linalg.norm(q)
    p, q = p[some], q[some]

    def excess(l: float) -> float:
        """Above 0 where the dual falls."""
        return np.sum((q / (l - p)) ** 2) - 1.0

    l = max((largest, *(p + np.abs(q))))
    if q.size and excess(l) > 0.0:
        l = brentq(excess, l, largest + 2.0 * length, xtol=1e-15 * largest)
    return float(np.sqrt(l + np.sum(q * q / (l - p)) + centre @ centre))


def is_inside(mesh: Shell, point: np.ndarray) -> bool:
    """Whether the surface is seen from the point under 4 pi, not 0 (van Oosterom & Strackee 1983, IEEE TBME 30, 125).

    Unlike the parity of a ray's crossings it needs no care at edges and corners.
    """
    a, b, c = (mesh.vertices - point)[mesh.facets].swapaxes(0, 1)
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    ab, bc, ca = (np.einsum("ij,ij->i", x, y) for x, y in ((a, b), (b, c), (c, a)))
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    return bool(2.0 * np.arctan2(triple, la * lb * lc + ab * lc + bc * la + ca * lb).sum() > 2.0 * np.pi)


def _no_vertex_inside(one: Shell, two: Shell) -> bool:
    """Whether no vertex of `two` lies in `one`."""
    return not any(is_inside(one, point) for point in two.vertices)


def _nearest_facet(mesh: Shell, ball: Ball) -> float:
    """Distance of the mesh's surface from the centre of the ball, in whose coordinates its radius is 1."""
    a, b, c = ball.to_unit(mesh.vertices)[mesh.facets].swapaxes(0, 1)
    normal = np.cross(b - a, c - a)
    size = np.linalg.norm(normal, axis=1)
    over_facet = np.ones(len(a), dtype=bool)
    nearest = np.inf
    for start, end in ((a, b), (b, c), (c, a)):
        side = end - start
        share = np.clip(-np.einsum("ij,ij->i", start, side) / np.einsum("ij,ij->i", side, side), 0.0, 1.0)
        nearest = min(nearest, np.linalg.norm(start + share[:, None] * side, axis=1).min())
        over_facet &= np.einsum("ij,ij->i", np.cross(side, -start), normal) >= 0.0
    heights = np.abs(np.einsum("ij,ij->i", a, normal)) / size
    return float(min(nearest, heights[over_facet].min(initial=np.inf)))
