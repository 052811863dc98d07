"""Inertia integrals of a homogeneous solid under a closed triangle mesh, to total degree 8, exact but for rounding.

The solid is the signed sum of the tetrahedra between the origin and the facets.  For a homogeneous polynomial f of
degree n the radial integral is done by hand, int_tetrahedron f dV = det(a, b, c) / (n + 3) int_triangle f du dv, and
the triangle by a product of Gauss-Legendre and Gauss-Jacobi points (5 x 5, positive weights, exact to degree 9).
"""

from __future__ import annotations

import numpy as np

from .._jit import kernel

DEGREE = 8
_EVEN_LIMIT = 1e-12


def place_of_moment(degree: int = DEGREE) -> dict[tuple[int, int, int], int]:
    """Where the integral of x^i y^j z^k stands in the kernel's list: i slowest, k fastest, i + j + k <= degree."""
    exponents = [(i, j, k) for i in range(degree + 1) for j in range(degree + 1 - i) for k in range(degree + 1 - i - j)]
    return {ijk: n for n, ijk in enumerate(exponents)}


def are_even(integrals: np.ndarray, total: float, extent: np.ndarray) -> bool:
    """Whether all integrals with an odd exponent are below 1e-12 total X^i Y^j Z^k.

    integrals: in the order of place_of_moment; total: the one of 1; extent: (3,) X, Y, Z of the body along its axes.
    """
    x, y, z = extent
    return all(
        abs(integrals[n]) <= _EVEN_LIMIT * total * x**i * y**j * z**k
        for (i, j, k), n in place_of_moment().items()
        if i % 2 or j % 2 or k % 2
    )


def triangle_rule(points: int = 5) -> np.ndarray:
    """Rows (weight, u, v, w = 1 - u - v) of a rule on the triangle u, v >= 0, u + v <= 1, exact to degree 2 points - 1.

    Weights sum to 1/2.  The Gauss-Jacobi rule absorbs the factor 1 - u of the map (u, t) -> (u, (1 - u) t).
    """
    from scipy.special import roots_jacobi

    t, t_weight = np.polynomial.legendre.leggauss(points)
    u, u_weight = roots_jacobi(points, 1.0, 0.0)
    u, t = np.meshgrid((u + 1.0) / 2.0, (t + 1.0) / 2.0, indexing="ij")
    weight = np.outer(u_weight / 4.0, t_weight / 2.0)
    v = (1.0 - u) * t
    return np.stack([weight, u, v, (1.0 - u) * (1.0 - t)], axis=-1).reshape(-1, 4)


@kernel
def _sum_over_facets(vertices, facets, rule, degree):
    """Integrals of all monomials to `degree` over the solid, m^(3+i+j+k), in the order of place_of_moment.

    Each facet is summed on its own and then added with the rounding error carried along (Neumaier 1974), so that
    integrals that cancel, such as those of a symmetric body, vanish to the last digits.
    """
    count = (degree + 1) * (degree + 2) * (degree + 3) // 6
    total, lost, local = np.zeros(count), np.zeros(count), np.empty(count)
    px, py, pz = np.empty(degree + 1), np.empty(degree + 1), np.empty(degree + 1)
    px[0], py[0], pz[0] = 1.0, 1.0, 1.0
    for facet in range(facets.shape[0]):
        p, q, r = facets[facet, 0], facets[facet, 1], facets[facet, 2]
        ax, ay, az = vertices[p, 0], vertices[p, 1], vertices[p, 2]
        bx, by, bz = vertices[q, 0], vertices[q, 1], vertices[q, 2]
        cx, cy, cz = vertices[r, 0], vertices[r, 1], vertices[r, 2]
        det = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
        local[:] = 0.0
        for node in range(rule.shape[0]):
            u, v, w = rule[node, 1], rule[node, 2], rule[node, 3]
            x, y, z = u * ax + v * bx + w * cx, u * ay + v * by + w * cy, u * az + v * bz + w * cz
            for n in range(degree):
                px[n + 1], py[n + 1], pz[n + 1] = px[n] * x, py[n] * y, pz[n] * z
            m = 0
            for i in range(degree + 1):
                fx = rule[node, 0] * det * px[i]
                for j in range(degree + 1 - i):
                    f = fx * py[j]
                    for k in range(degree + 1 - i - j):
                        local[m] += f * pz[k]
                        m += 1
        for m in range(count):
            term, before = local[m], total[m]
            after = before + term
            lost[m] += (before - after) + term if abs(before) >= abs(term) else (term - after) + before
            total[m] = after
    m = 0
    for i in range(degree + 1):
        for j in range(degree + 1 - i):
            for k in range(degree + 1 - i - j):
                total[m] = (total[m] + lost[m]) / (i + j + k + 3)
                m += 1
    return total


def volume_integrals(vertices_m: np.ndarray, facets: np.ndarray, degree: int = DEGREE) -> np.ndarray:
    """int x^i y^j z^k dV about the origin of the vertices, m^(3+i+j+k), listed as place_of_moment says.

    vertices_m (n, 3), facets (m, 3) outward, counting from 0.  The origin should be near the centre of mass:
    integrals about a far point would be differences of large numbers.
    """
    return _sum_over_facets(vertices_m, facets, triangle_rule(degree // 2 + 1), degree)
