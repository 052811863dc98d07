"""Do two ellipsoids overlap?  The contact function of two ellipsoids of any shape, distance and attitude."""

import math

from .._jit import kernel

# What is left of l is 2^-36 = 1.5e-11; F, at its maximum, is off by the square of that over l (1 - l).
_HALVINGS = 36


@kernel
def ellipsoids_touch(ax, ay, az, bx, by, bz, rx, ry, rz, c11, c12, c13, c21, c22, c23, c31, c32, c33):
    """Contact function minus one: positive where the ellipsoids are apart, zero where they touch, -1 at common centres.

    F = max over 0 < l < 1 of l (1 - l) r.G^-1.r with G = (1 - l) A + l B, A = diag(a^2), B = C diag(b^2) C^T, and F
    is the square of the common factor by which both must grow to touch (Perram & Wertheim 1985, J. Comput. Phys.
    58, 409).  a, b: semi-axes (m) of 1 and 2 along their own axes, r (m): from centre 1 to centre 2 in frame 1,
    C: the rotation from frame 2 to frame 1.  With x = G^-1 r the derivative is (1 - l)^2 x.A.x - l^2 x.B.x; it falls
    through zero once, so a fixed number of halvings finds it, and F there is in error by the square of what is left.
    """
    a1, a2, a3 = ax * ax, ay * ay, az * az
    p, q, s = bx * bx, by * by, bz * bz
    b11 = p * c11 * c11 + q * c12 * c12 + s * c13 * c13
    b22 = p * c21 * c21 + q * c22 * c22 + s * c23 * c23
    b33 = p * c31 * c31 + q * c32 * c32 + s * c33 * c33
    b12 = p * c11 * c21 + q * c12 * c22 + s * c13 * c23
    b13 = p * c11 * c31 + q * c12 * c32 + s * c13 * c33
    b23 = p * c21 * c31 + q * c22 * c32 + s * c23 * c33
    low, high, value = 0.0, 1.0, 0.0
    for _ in range(_HALVINGS):
        l = 0.5 * (low + high)
        m = 1.0 - l
        x, y, z = _solve(m * a1 + l * b11, m * a2 + l * b22, m * a3 + l * b33, l * b12, l * b13, l * b23, rx, ry, rz)
        value = l * m * (rx * x + ry * y + rz * z)
        first = a1 * x * x + a2 * y * y + a3 * z * z
        second = b11 * x * x + b22 * y * y + b33 * z * z + 2.0 * (b12 * x * y + b13 * x * z + b23 * y * z)
        if m * math.sqrt(first) > l * math.sqrt(second):
            low = l
        else:
            high = l
    return value - 1.0


@kernel
def _solve(g11, g22, g33, g12, g13, g23, rx, ry, rz):
    """x = G^-1 r for a symmetric positive definite G, by its L D L^T factors."""
    l21, l31 = g12 / g11, g13 / g11
    d2 = g22 - l21 * g12
    e = g23 - l31 * g12
    l32 = e / d2
    d3 = g33 - l31 * g13 - l32 * e
    v = ry - l21 * rx
    z = (rz - l31 * rx - l32 * v) / d3
    y = v / d2 - l32 * z
    return rx / g11 - l21 * y - l31 * z, y, z
