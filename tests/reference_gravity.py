"""Mutual gravity of two homogeneous bodies by brute force, for tests only: slow, plain, independent of the package.

One body's exact attraction is summed over a Gauss cubature of the other.  Frames and signs as in the package: r from
body 1 to body 2, C body -> inertial, F on body 2, all results in the inertial frame, SI.  Bodies must not overlap.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import elliprd, elliprf, roots_jacobi

G = 6.67430e-11
"""m3 kg-1 s-2, CODATA 2018."""


@dataclass(frozen=True)
class Solid:
    """Cubature points (n, 3), masses (n,), body frame; attraction: x (n, 3) -> int G dm/d (n,), its gradient (n, 3)."""

    points: np.ndarray
    masses: np.ndarray
    attraction: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


def pair(one: Solid, two: Solid, r_m, C1, C2):
    """U, F on body 2, torques on both.  U, F and tau2 sum body 1's attraction over body 2, tau1 the reverse."""
    r, C1, C2 = np.asarray(r_m, dtype=float), np.asarray(C1), np.asarray(C2)
    potential, force, torque2 = _sum(one, two, r, C1, C2)
    torque1 = _sum(two, one, -r, C2, C1)[2]
    return potential, force, torque1, torque2


def ellipsoid_pair(axes1, rho1, axes2, rho2, r_m, C1, C2, order: int = 20):
    """`pair` of two homogeneous ellipsoids; order 20 gives 1e-13 from a gap of a few small radii on."""
    return pair(ellipsoid(axes1, rho1, order), ellipsoid(axes2, rho2, order), r_m, C1, C2)


def polyhedron_ellipsoid_pair(vertices1, facets1, rho1, axes2, rho2, r_m, C1, C2, order: int = 20, order1: int = 8):
    """`pair` of a polyhedron (frame and origin those of its vertices) and an ellipsoid."""
    return pair(polyhedron(vertices1, facets1, rho1, order1), ellipsoid(axes2, rho2, order), r_m, C1, C2)


def _sum(source: Solid, sink: Solid, r, C_source, C_sink):
    """Potential energy, force and torque about its own centre that `source` at the origin exerts on `sink` at r."""
    arm = sink.points @ C_sink.T
    potential, field = source.attraction((r + arm) @ C_source)
    force = sink.masses[:, None] * (field @ C_source.T)
    return -sink.masses @ potential, force.sum(axis=0), np.cross(arm, force).sum(axis=0)


def ellipsoid(axes, rho: float, order: int = 20) -> Solid:
    """Homogeneous ellipsoid; cubature of 2 order^3 points, exact for polynomials of degree 2 order - 1."""
    axes = np.asarray(axes, dtype=float)
    s, s_weight = _jacobi(order, 2)
    u, u_weight = np.polynomial.legendre.leggauss(order)
    phi = (np.arange(2 * order) + 0.5) * np.pi / order
    s, u, phi = (a.ravel() for a in np.meshgrid(s, u, phi, indexing="ij"))
    weight = np.repeat(np.outer(s_weight, u_weight).ravel(), 2 * order) * np.pi / order
    rim = s * np.sqrt(1.0 - u * u)
    ball = np.stack([rim * np.cos(phi), rim * np.sin(phi), s * u], axis=1)
    return Solid(ball * axes, rho * axes.prod() * weight, lambda x: ellipsoid_attraction(axes, rho, x))


def polyhedron(vertices, facets, rho: float, order: int = 8) -> Solid:
    """Homogeneous polyhedron; cubature of order^3 points in each tetrahedron between the origin and a facet."""
    corners = np.asarray(vertices, dtype=float)[facets]
    s, s_weight = _jacobi(order, 2)
    t, t_weight = _jacobi(order, 1)
    u, u_weight = _jacobi(order, 0)
    weight = np.einsum("i,j,k", s_weight, t_weight, u_weight).ravel()
    s, t, u = (a.ravel() for a in np.meshgrid(s, t, u, indexing="ij"))
    shares = s * np.stack([1.0 - t, t * (1.0 - u), t * u])
    points = np.einsum("kn,fkx->fnx", shares, corners).reshape(-1, 3)
    masses = rho * np.outer(np.linalg.det(corners), weight).ravel()
    return Solid(points, masses, lambda x: polyhedron_attraction(corners, rho, x))


def _jacobi(order: int, power: int):
    """Nodes and weights on 0 < s < 1 for int f(s) s^power ds."""
    node, weight = roots_jacobi(order, 0.0, power)
    return (node + 1.0) / 2.0, weight / 2.0 ** (power + 1)


def ellipsoid_attraction(axes, rho: float, x):
    """Potential (n,) and field (n, 3) of a homogeneous ellipsoid at points x (n, 3), outside or inside.

    pi G rho abc int_l^inf (1 - sum x_i^2/(a_i^2 + s)) ds / sqrt(prod(a_i^2 + s)), l the largest root of
    sum x_i^2/(a_i^2 + l) = 1, zero inside (Chandrasekhar 1969, ch. 3, from memory), as Carlson's R_F and R_D
    (Carlson 1995, Numer. Algorithms 10, 13): int ds/D = 2 R_F, int ds/((a^2 + s) D) = 2/3 R_D.
    """
    squares, x2 = np.square(axes), x * x
    l = np.maximum(x2.sum(axis=1) - squares.max(), 0.0)
    for _ in range(60):  # Newton from the left on a convex falling function: monotone
        q = x2 / (squares + l[:, None])
        step = (q.sum(axis=1) - 1.0) / (q / (squares + l[:, None])).sum(axis=1)
        l = np.maximum(l + step, 0.0)
        if np.all(np.abs(step) <= 4e-16 * (l + squares.max())):
            break
    a, b, c = (squares + l[:, None]).T
    integrals = 2.0 / 3.0 * np.stack([elliprd(b, c, a), elliprd(c, a, b), elliprd(a, b, c)], axis=1)
    strength = np.pi * G * rho * np.prod(axes)
    return strength * (2.0 * elliprf(a, b, c) - (x2 * integrals).sum(axis=1)), -2.0 * strength * x * integrals


def polyhedron_attraction(corners, rho: float, x, block: int = 2000):
    """Potential (n,) and field (n, 3) of a homogeneous polyhedron at points x (n, 3) off its edges.

    corners (m, 3, 3), outward.  Werner & Scheeres 1997, CMDA 65, 313, eqs. 10, 11, 15, 16; the edge dyads are written
    out as the two facets' shares, so that each facet stands for itself.
    """
    a = np.roll(corners, -1, axis=1) - corners
    length = np.linalg.norm(a, axis=2)
    normal = np.cross(a[:, 0], a[:, 1])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    outward = np.cross(a, normal[:, None, :]) / length[:, :, None]
    potential, field = np.empty(len(x)), np.empty((len(x), 3))
    for start in range(0, len(x), block):
        r = corners[None] - x[start : start + block, None, None, :]
        d = np.linalg.norm(r, axis=3)
        ends = d + np.roll(d, -1, axis=2)
        edge = np.log((ends + length) / (ends - length))
        r1, r2, r3 = r[:, :, 0], r[:, :, 1], r[:, :, 2]
        d1, d2, d3 = d[:, :, 0], d[:, :, 1], d[:, :, 2]
        dot = [np.einsum("nfx,nfx->nf", p, q) for p, q in ((r2, r3), (r3, r1), (r1, r2))]
        triple = np.einsum("nfx,nfx->nf", r1, np.cross(r2, r3))
        solid_angle = 2.0 * np.arctan2(triple, d1 * d2 * d3 + d1 * dot[0] + d2 * dot[1] + d3 * dot[2])
        height = np.einsum("nfx,fx->nf", r1, normal)
        share = np.einsum("nfex,fex,nfe->nf", r, outward, edge) - height * solid_angle
        potential[start : start + block] = 0.5 * G * rho * (height * share).sum(axis=1)
        field[start : start + block] = -G * rho * share @ normal
    return potential, field
