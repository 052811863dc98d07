"""The equations of motion of two rigid bodies: twenty rates of change from twenty numbers.

r'' = F/m, with F and the torques tau from gravity (expansion.py);  q' = q w / 2;  I w' = tau - w x I w, in each
body's frame (Goldstein 1980, Classical Mechanics, 2nd ed., ch. 5).  Attitudes enter through q/|q|, so the length of q
is never forced.
"""

from __future__ import annotations

import math

import numba
import numpy as np

from .._jit import inlined, kernel
from ..constants import G
from ..gravity.models import field, potential
from ..gravity.multipoles import coefficients
from ..vectors import rotation_of_quaternion


def motion_constants(primary, secondary) -> np.ndarray:
    """(19,): G(M1+M2); for each body G M1 M2 / I (3) and the asymmetries (I_y - I_z)/I_x, cyclic (3).

    Then both I (6) over G M1 M2.
    """
    scale = G * primary.mass_kg * secondary.mass_kg
    out = [G * (primary.mass_kg + secondary.mass_kg)]
    for body in (primary, secondary):
        ix, iy, iz = body.inertia_kg_m2
        out += [scale / ix, scale / iy, scale / iz, (iy - iz) / ix, (iz - ix) / iy, (ix - iy) / iz]
    out += [*(primary.inertia_kg_m2 / scale), *(secondary.inertia_kg_m2 / scale)]
    return np.array(out)


def parameters(primary, secondary, degree: int, even: bool) -> tuple[np.ndarray, np.ndarray]:
    """The two parameter arrays of the kernels: motion constants and gravity coefficients."""
    return motion_constants(primary, secondary), coefficients(primary, secondary, degree, even)


@inlined
def turn(w, x, y, z, s):
    """Rotation matrix of a quaternion with s = 2 / |q|^2; the products do not wait for s."""
    wx, wy, wz = w * x, w * y, w * z
    xx, xy, xz, yy, yz, zz = x * x, x * y, x * z, y * y, y * z, z * z
    return (
        1.0 - s * (yy + zz), s * (xy - wz), s * (xz + wy),
        s * (xy + wz), 1.0 - s * (xx + zz), s * (yz - wx),
        s * (xz - wy), s * (yz + wx), 1.0 - s * (xx + yy),
    )  # fmt: skip


@inlined
def double_reciprocal(w, x, y, z):
    """2 / |q|^2 to second order in |q|^2 - 1, which integration keeps below 1e-7.

    Exact to rounding, and no division to wait for.
    """
    return 4.0 - 2.0 * ((w * w + x * x) + (y * y + z * z))


@inlined
def relative_quaternion(q0, q1, q2, q3, p0, p1, p2, p3):
    """conj(q) p, frame 2 -> frame 1, of two attitudes."""
    return (
        q0 * p0 + q1 * p1 + q2 * p2 + q3 * p3,
        q0 * p1 - q1 * p0 - q2 * p3 + q3 * p2,
        q0 * p2 + q1 * p3 - q2 * p0 - q3 * p1,
        q0 * p3 - q1 * p2 + q2 * p1 - q3 * p0,
    )


@inlined
def attitudes(q0, q1, q2, q3, p0, p1, p2, p3):
    """Rotation matrices frame 1 -> inertial and frame 2 -> frame 1 of two attitudes of nearly unit length."""
    s, t = double_reciprocal(q0, q1, q2, q3), double_reciprocal(p0, p1, p2, p3)
    e0, e1, e2, e3 = relative_quaternion(q0, q1, q2, q3, p0, p1, p2, p3)
    return turn(q0, q1, q2, q3, s), turn(e0, e1, e2, e3, 0.5 * s * t)


@inlined
def quaternion_rate(q0, q1, q2, q3, w1, w2, w3):
    """q w / 2, w in the body frame."""
    x, y, z = 0.5 * w1, 0.5 * w2, 0.5 * w3
    return -q1 * x - q2 * y - q3 * z, q0 * x + q2 * z - q3 * y, q0 * y + q3 * x - q1 * z, q0 * z + q1 * y - q2 * x


@kernel
def rates(model, w, at, to, c, k):
    """Write the rates of the state w[at : at + 20] to w[to : to + 20]; k motion constants, c gravity coefficients.

    nan where r = 0.
    """
    model = numba.literally(model)
    if at < 0 or to < 0:  # never; but it tells the compiler that no index counts from the end
        return
    rx, ry, rz = w[at], w[at + 1], w[at + 2]
    q0, q1, q2, q3 = w[at + 6], w[at + 7], w[at + 8], w[at + 9]
    o1, o2, o3 = w[at + 10], w[at + 11], w[at + 12]
    p0, p1, p2, p3 = w[at + 13], w[at + 14], w[at + 15], w[at + 16]
    s1, s2, s3 = w[at + 17], w[at + 18], w[at + 19]
    turns = attitudes(q0, q1, q2, q3, p0, p1, p2, p3)
    A11, A12, A13, A21, A22, A23, A31, A32, A33 = turns[0]
    C11, C12, C13, C21, C22, C23, C31, C32, C33 = turns[1]
    x, y, z = A11 * rx + A21 * ry + A31 * rz, A12 * rx + A22 * ry + A32 * rz, A13 * rx + A23 * ry + A33 * rz
    X, Y, Z = C11 * x + C21 * y + C31 * z, C12 * x + C22 * y + C32 * z, C13 * x + C23 * y + C33 * z
    u = 1.0 / math.sqrt(rx * rx + ry * ry + rz * rz)
    f1, f2, f3, t1, t2, t3, n1, n2, n3 = field(
        model, x, y, z, X, Y, Z, u, C11, C12, C13, C21, C22, C23, C31, C32, C33, c
    )
    gm = k[0]
    fall = -u * u * u
    w[to], w[to + 1], w[to + 2] = w[at + 3], w[at + 4], w[at + 5]
    w[to + 3] = gm * (fall * rx + (A11 * f1 + A12 * f2 + A13 * f3))
    w[to + 4] = gm * (fall * ry + (A21 * f1 + A22 * f2 + A23 * f3))
    w[to + 5] = gm * (fall * rz + (A31 * f1 + A32 * f2 + A33 * f3))
    w[to + 6], w[to + 7], w[to + 8], w[to + 9] = quaternion_rate(q0, q1, q2, q3, o1, o2, o3)
    w[to + 10] = k[1] * t1 + k[4] * (o2 * o3)
    w[to + 11] = k[2] * t2 + k[5] * (o3 * o1)
    w[to + 12] = k[3] * t3 + k[6] * (o1 * o2)
    w[to + 13], w[to + 14], w[to + 15], w[to + 16] = quaternion_rate(p0, p1, p2, p3, s1, s2, s3)
    w[to + 17] = k[7] * n1 + k[10] * (s2 * s3)
    w[to + 18] = k[8] * n2 + k[11] * (s3 * s1)
    w[to + 19] = k[9] * n3 + k[12] * (s1 * s2)


@kernel
def conserved(model, w, at, c, k):
    """(E, Hx, Hy, Hz) of the state w[at : at + 20].

    Energy over G M1 M2 (1/m), angular momentum over m (m2/s), inertial frame.
    """
    model = numba.literally(model)
    rx, ry, rz, vx, vy, vz = w[at], w[at + 1], w[at + 2], w[at + 3], w[at + 4], w[at + 5]
    q0, q1, q2, q3 = w[at + 6], w[at + 7], w[at + 8], w[at + 9]
    o1, o2, o3 = w[at + 10], w[at + 11], w[at + 12]
    p0, p1, p2, p3 = w[at + 13], w[at + 14], w[at + 15], w[at + 16]
    s1, s2, s3 = w[at + 17], w[at + 18], w[at + 19]
    A11, A12, A13, A21, A22, A23, A31, A32, A33 = rotation_of_quaternion(q0, q1, q2, q3)
    B11, B12, B13, B21, B22, B23, B31, B32, B33 = rotation_of_quaternion(p0, p1, p2, p3)
    e0, e1, e2, e3 = relative_quaternion(q0, q1, q2, q3, p0, p1, p2, p3)
    C11, C12, C13, C21, C22, C23, C31, C32, C33 = rotation_of_quaternion(e0, e1, e2, e3)
    x, y, z = A11 * rx + A21 * ry + A31 * rz, A12 * rx + A22 * ry + A32 * rz, A13 * rx + A23 * ry + A33 * rz
    X, Y, Z = B11 * rx + B21 * ry + B31 * rz, B12 * rx + B22 * ry + B32 * rz, B13 * rx + B23 * ry + B33 * rz
    u = 1.0 / math.sqrt(rx * rx + ry * ry + rz * rz)
    phi = potential(model, x, y, z, X, Y, Z, u, C11, C12, C13, C21, C22, C23, C31, C32, C33, c)
    gm = k[0]
    l1, l2, l3 = k[13] * o1, k[14] * o2, k[15] * o3
    m1, m2, m3 = k[16] * s1, k[17] * s2, k[18] * s3
    spin = l1 * o1 + l2 * o2 + l3 * o3 + m1 * s1 + m2 * s2 + m3 * s3
    energy = 0.5 * ((vx * vx + vy * vy + vz * vz) / gm + spin) - u - phi
    hx = ry * vz - rz * vy + gm * (A11 * l1 + A12 * l2 + A13 * l3 + B11 * m1 + B12 * m2 + B13 * m3)
    hy = rz * vx - rx * vz + gm * (A21 * l1 + A22 * l2 + A23 * l3 + B21 * m1 + B22 * m2 + B23 * m3)
    hz = rx * vy - ry * vx + gm * (A31 * l1 + A32 * l2 + A33 * l3 + B31 * m1 + B32 * m2 + B33 * m3)
    return energy, hx, hy, hz
