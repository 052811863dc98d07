"""How bright an ellipsoid is without shadows: in closed form by Lommel-Seeliger, by a fixed quadrature by Lambert.

The surface x = A u of a unit sphere's points u, A = diag(a, b, c), has normals times area n dA = abc A^-1 u dOmega.
With p = A^-1 o and q = A^-1 s, o and s towards the observer and the Sun, the sums over ground that is lit and seen
(brightness.py) are integrals over the lune of the sphere where p u > 0 and q u > 0:

    abc (p u) (q u) / ((p + q) u) dOmega   (Lommel-Seeliger),    abc (p u) (q u) / |A^-1 u| dOmega   (Lambert).

The first one is elementary (Muinonen & Lumme 2015, A&A 584, A23, doi 10.1051/0004-6361/201527456); the second one is
smooth but for its zeros at the edges, so few points of Gauss serve.
"""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel

ACROSS, ALONG = 8, 10
"""Points of the quadrature across and along the lune: better than 1e-4 of the light of a body with a/c 1.5, than 1.5e-3
at 2.5 (6 x 8 leave 1.5e-4 and 2.6e-3)."""


def _gauss() -> np.ndarray:
    """(ACROSS + ALONG, 2) nodes and weights: across for the weight 1 - t^2 (Gauss & Jacobi), along for 1 (Gauss &
    Legendre; both in any handbook)."""
    from scipy.special import roots_jacobi, roots_legendre

    across, along = roots_jacobi(ACROSS, 1.0, 1.0), roots_legendre(ALONG)
    return np.vstack([np.column_stack(across), np.column_stack(along)])


@kernel
def seeliger_of_lune(p, q, cosine):
    """The integral of (p u)(q u)/((p + q) u) over a lune, from the lengths of p and q and the cosine between them."""
    both = math.sqrt(max(p * p + q * q + 2.0 * p * q * cosine, 0.0))
    sine = math.sqrt(max(1.0 - cosine * cosine, 0.0))
    if both <= 1e-12 * (p + q):
        return 0.0
    cos_p, cos_q, sin_p, sin_q = (p + q * cosine) / both, (q + p * cosine) / both, q * sine / both, p * sine / both
    edge = sin_p * sin_q
    if edge > 1e-14:  # half an angle's cotangent is (1 + cos) / sin
        edge *= math.log(max((1.0 + cos_p) * (1.0 + cos_q), 1e-300) / edge)
    return 0.5 * math.pi * p * q / both * (cos_p + cos_q - edge)


@kernel
def ellipsoid_light(axes, semi, sun, seen, gauss, found):
    """Fill found (2,), m2, by Lommel-Seeliger and by Lambert at albedo 1.

    axes (9,): rows of the matrix whose columns are the ellipsoid's axes; semi (3,), m; sun and seen (3,) unit vectors
    to the Sun and the observer; gauss from `_gauss`.
    """
    p, q, n, w, v = np.empty(3), np.empty(3), np.empty(3), np.empty(3), np.empty(3)
    volume, pp, qq, pq = semi[0] * semi[1] * semi[2], 0.0, 0.0, 0.0
    for j in range(3):
        p[j] = (axes[j] * seen[0] + axes[3 + j] * seen[1] + axes[6 + j] * seen[2]) / semi[j]
        q[j] = (axes[j] * sun[0] + axes[3 + j] * sun[1] + axes[6 + j] * sun[2]) / semi[j]
        pp += p[j] * p[j]
        qq += q[j] * q[j]
        pq += p[j] * q[j]
    long_p, long_q = math.sqrt(pp), math.sqrt(qq)
    cosine = min(max(pq / (long_p * long_q), -1.0), 1.0)
    found[0] = volume * seeliger_of_lune(long_p, long_q, cosine)
    lune_axes(p, q, long_p, long_q, w, v, n)
    found[1] = volume * long_p * long_q * lambert_of_lune(w, v, n, 0.5 * math.acos(cosine), semi, gauss)


@kernel
def lune_axes(p, q, long_p, long_q, w, v, n):
    """Fill w, v and n (3,): towards the middle of the lune, across its edges, and along them to where they meet."""
    for j in range(3):
        w[j] = p[j] / long_p + q[j] / long_q
    n[0], n[1], n[2] = p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]
    size = math.sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2])
    if size < 1e-12 * long_p * long_q:  # the Sun behind the observer: any direction across will do
        if abs(p[2]) < 0.9 * long_p:
            n[0], n[1], n[2] = p[1], -p[0], 0.0
        else:
            n[0], n[1], n[2] = 0.0, p[2], -p[1]
        size = math.sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2])
    middle = math.sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2])
    middle = max(middle, 1e-300)
    for j in range(3):
        n[j] /= size
        w[j] /= middle
    v[0], v[1], v[2] = n[1] * w[2] - n[2] * w[1], n[2] * w[0] - n[0] * w[2], n[0] * w[1] - n[1] * w[0]


@kernel
def lambert_of_lune(w, v, n, half, semi, gauss):
    """The integral of (p u)(q u)/|A^-1 u| over a lune, p and q of unit length at +-half an angle from w."""
    ww, vv, nn, wv, wn, vn = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for j in range(3):  # |A^-1 u|^2 along these three directions
        weight = 1.0 / (semi[j] * semi[j])
        ww += weight * w[j] * w[j]
        vv += weight * v[j] * v[j]
        nn += weight * n[j] * n[j]
        wv += weight * w[j] * v[j]
        wn += weight * w[j] * n[j]
        vn += weight * v[j] * n[j]
    reach, edge, total = 0.5 * math.pi - half, math.sin(half) ** 2, 0.0
    for i in range(ACROSS, ACROSS + ALONG):
        c, s = math.cos(reach * gauss[i, 0]), math.sin(reach * gauss[i, 0])
        flat, mixed = ww * c * c + 2.0 * wv * c * s + vv * s * s, 2.0 * (wn * c + vn * s)
        part = 0.0
        for k in range(ACROSS):
            t = gauss[k, 0]
            square = (1.0 - t * t) * flat + t * math.sqrt(1.0 - t * t) * mixed + t * t * nn
            part += gauss[k, 1] / math.sqrt(square)
        total += part * (c * c - edge) * gauss[i, 1]  # cos (x + half) cos (x - half) = cos^2 x - sin^2 half
    return reach * total


GAUSS = _gauss()


def light_of_ellipsoids(
    axes: np.ndarray, semi_axes_m: np.ndarray, sunward: np.ndarray, earthward: np.ndarray
) -> np.ndarray:
    """(m, 2) light of one ellipsoid at m instants, m2, by Lommel-Seeliger and by Lambert at albedo 1.

    axes (m, 3, 3): columns along its semi-axes (3,); sunward, earthward (m, 3): unit vectors to Sun and observer.
    """
    found = np.empty((len(axes), 2))
    _each(np.ascontiguousarray(axes).reshape(-1, 9), np.asarray(semi_axes_m), sunward, earthward, GAUSS, found)
    return found


@kernel
def _each(axes, semi, sunward, earthward, gauss, found):
    for m in range(len(found)):
        ellipsoid_light(axes[m], semi, sunward[m], earthward[m], gauss, found[m])
