"""How bright two faceted bodies are together: the sum over facets that are lit and seen, epoch by epoch.

Each facet adds area x S(mu, mu0) x the share of its points that the other body (or its own hills) leaves in light and
in sight; mu and mu0 are the cosines of the angles from its normal to the observer and to the Sun.
S = mu mu0 [l / (mu + mu0) + d]: Lambert (l, d) = (0, 1), Lommel-Seeliger (1, 0), and their sum (1, c) after
Kaasalainen, Torppa & Muinonen 2001, Icarus 153, 37, doi 10.1006/icar.2001.6674.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .._jit import kernel
from .figure import Figure, mesh_of_ellipsoid
from .shadows import CELLS, SLACK, block_by_ellipsoid, block_by_mesh, mesh_grid

_INNER, _OUTER = 1.0 / 6.0, 2.0 / 3.0
_POINTS = np.array([[_OUTER, _INNER, _INNER], [_INNER, _OUTER, _INNER], [_INNER, _INNER, _OUTER]])
"""Barycentric places of the three points that stand for a facet, each for a third of it (Strang & Fix 1973)."""


@dataclass(frozen=True)
class LitFacets:
    """What the kernel needs of one body, in the frame of its figure.

    semi_axes_m block exactly where the figure is an ellipsoid; vertices and facets where it is a mesh.
    """

    normals: np.ndarray
    areas_m2: np.ndarray
    points_m: np.ndarray
    vertices_m: np.ndarray
    facets: np.ndarray
    semi_axes_m: np.ndarray
    is_mesh: bool
    is_convex: bool
    overlooked: np.ndarray
    reach_m: float

    @classmethod
    def of(cls, figure: Figure, facets: int) -> LitFacets:
        """Of a mesh its own facets, of an ellipsoid at least so many."""
        vertices, triangles = (
            (figure.vertices_m, figure.facets) if figure.is_mesh else mesh_of_ellipsoid(figure.semi_axes_m, facets)
        )
        corners = vertices[triangles]
        a, b, c = corners.transpose(1, 0, 2)
        normal = np.cross(b - a, c - a)
        twice = np.linalg.norm(normal, axis=1)
        points = np.ascontiguousarray(np.einsum("pk,fkx->fpx", _POINTS, corners))
        return cls(
            normal / twice[:, None],
            0.5 * twice,
            points,
            np.array(vertices, order="C"),  # writable copies: else the kernel is compiled for either kind
            np.array(triangles, order="C"),
            figure.semi_axes_m,
            figure.is_mesh,
            figure.is_convex,
            figure.overlooked if figure.is_mesh else np.zeros(len(triangles), dtype=bool),
            float(np.linalg.norm(vertices, axis=1).max()),
        )


@kernel
def plane_of(line, basis):
    """Fill basis (9,) with three rows: two unit vectors across a line (3,), and the line."""
    x, y, z = line[0], line[1], line[2]
    if abs(z) < 0.9:
        s = 1.0 / np.sqrt(x * x + y * y)
        basis[0], basis[1], basis[2] = -y * s, x * s, 0.0
    else:
        s = 1.0 / np.sqrt(y * y + z * z)
        basis[0], basis[1], basis[2] = 0.0, -z * s, y * s
    basis[3] = y * basis[2] - z * basis[1]
    basis[4] = z * basis[0] - x * basis[2]
    basis[5] = x * basis[1] - y * basis[0]
    basis[6], basis[7], basis[8] = x, y, z


@kernel
def seen_along(basis, axes, centre, turn, shift):
    """Fill turn (9,) = basis axes and shift (3,) = basis centre."""
    for i in range(3):
        for j in range(3):
            turn[3 * i + j] = basis[3 * i] * axes[0, j] + basis[3 * i + 1] * axes[1, j] + basis[3 * i + 2] * axes[2, j]
        shift[i] = basis[3 * i] * centre[0] + basis[3 * i + 1] * centre[1] + basis[3 * i + 2] * centre[2]


@kernel
def facet_weights(normals, areas, axes, sun, seen, seeliger, lambert, weights, live):
    """Brightness of each facet without shadows (f,); mark in live (f, p) those that count with 1, others with 2."""
    s = [0.0, 0.0, 0.0]
    o = [0.0, 0.0, 0.0]
    for j in range(3):
        s[j] = axes[0, j] * sun[0] + axes[1, j] * sun[1] + axes[2, j] * sun[2]
        o[j] = axes[0, j] * seen[0] + axes[1, j] * seen[1] + axes[2, j] * seen[2]
    s0, s1, s2, o0, o1, o2 = s[0], s[1], s[2], o[0], o[1], o[2]
    for f in range(len(areas)):
        mu0 = normals[f, 0] * s0 + normals[f, 1] * s1 + normals[f, 2] * s2
        mu = normals[f, 0] * o0 + normals[f, 1] * o1 + normals[f, 2] * o2
        if mu0 > 0.0 and mu > 0.0:
            weights[f] = areas[f] * mu * mu0 * (seeliger / (mu + mu0) + lambert)
            live[f, :] = 1
        else:
            weights[f] = 0.0
            live[f, :] = 2


@kernel
def summed_weights(weights, live):
    """Sum of the weights, each times the share of its points that are left."""
    sum_, points = 0.0, live.shape[1]
    for f in range(len(weights)):
        if weights[f] > 0.0:
            left = 0
            for p in range(points):
                left += live[f, p]
            sum_ += weights[f] * left / points
    return sum_


@kernel
def fluxes(
    normals, areas, points, vertices, facets, semi, mesh, convex, overlooked, reach, centres, axes, suns, observers,
    seeliger, lambert, found,
):  # fmt: skip
    """Fill found (m, 2), m2: brightness of both bodies at m epochs.

    Pairs (primary, secondary) of what Facets holds; centres (2, m, 3), axes (2, m, 3, 3), suns and observers (m, 3).
    """
    count = points[0].shape[1]
    live = (np.empty((len(areas[0]), count), np.uint8), np.empty((len(areas[1]), count), np.uint8))
    weights = (np.empty(len(areas[0])), np.empty(len(areas[1])))
    placed = (np.empty((len(vertices[0]), 3)), np.empty((len(vertices[1]), 3)))
    seen = (np.empty((len(facets[0]), 10)), np.empty((len(facets[1]), 10)))
    frame, heads, basis = np.empty(4), np.empty(CELLS * CELLS + 1, np.int64), np.empty(9)
    turn, shift, entries = np.empty((2, 9)), np.empty((2, 3)), np.empty(0, np.int64)
    for m in range(len(found)):
        for b in range(2):
            facet_weights(
                normals[b], areas[b], axes[b, m], suns[m], observers[m], seeliger, lambert, weights[b], live[b]
            )
        for way in range(2):
            plane_of(suns[m] if way == 0 else observers[m], basis)
            for b in range(2):
                seen_along(basis, axes[b, m], centres[b, m], turn[b], shift[b])
            apart = np.hypot(shift[0, 0] - shift[1, 0], shift[0, 1] - shift[1, 1])
            near = apart < reach[0] + reach[1]
            for c in range(2):  # what blocks
                sorted_ = False
                for b in range(2):
                    if b == c:
                        wanted = not convex[b]
                    else:
                        wanted = near and shift[c, 2] + reach[c] > shift[b, 2] - reach[b]
                    if not wanted:
                        continue
                    if not mesh[c]:
                        block_by_ellipsoid(points[b], live[b], turn[b], shift[b], turn[c], shift[c], semi[c])
                        continue
                    if not sorted_:
                        entries = mesh_grid(turn[c], shift[c], vertices[c], facets[c], placed[c], seen[c], frame, heads)
                        sorted_ = True
                    block_by_mesh(
                        points[b],
                        live[b],
                        turn[b],
                        shift[b],
                        b == c,
                        overlooked[b],
                        SLACK * reach[c],
                        seen[c],
                        frame,
                        heads,
                        entries,
                    )
        for b in range(2):
            found[m, b] = summed_weights(weights[b], live[b])
