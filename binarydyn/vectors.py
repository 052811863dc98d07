"""Kernels on 3-vectors, quaternions (scalar first, body -> inertial) and rotation matrices; scalars in, tuples out."""

import math

import numpy as np

from ._jit import inlined, kernel


@inlined
def three(w, at, stride):
    """Three numbers of an array, from `at` on."""
    return w[at], w[at + stride], w[at + 2 * stride]


@inlined
def four(w, at, stride):
    """Four numbers of an array, from `at` on."""
    return w[at], w[at + stride], w[at + 2 * stride], w[at + 3 * stride]


@kernel
def rotation_of_quaternion(w, x, y, z):
    """Rotation matrix, row by row, of the quaternion divided by its length; nan at length zero."""
    s = 2.0 / (w * w + x * x + y * y + z * z)
    xs, ys, zs = x * s, y * s, z * s
    wx, wy, wz = w * xs, w * ys, w * zs
    xx, xy, xz = x * xs, x * ys, x * zs
    yy, yz, zz = y * ys, y * zs, z * zs
    return 1.0 - (yy + zz), xy - wz, xz + wy, xy + wz, 1.0 - (xx + zz), yz - wx, xz - wy, yz + wx, 1.0 - (xx + yy)


_formula = getattr(rotation_of_quaternion, "py_func", rotation_of_quaternion)


def rotation(quaternion: np.ndarray) -> np.ndarray:
    """The same as an array (3, 3), or (3, 3, n) of many quaternions (4, n)."""
    elements = np.array(_formula(*quaternion))
    return elements.reshape(3, 3, *elements.shape[1:])


@kernel
def quaternion_product(a0, a1, a2, a3, b0, b1, b2, b3):
    """Quaternion of the rotation b followed by the rotation a."""
    return (
        a0 * b0 - a1 * b1 - a2 * b2 - a3 * b3,
        a0 * b1 + a1 * b0 + a2 * b3 - a3 * b2,
        a0 * b2 - a1 * b3 + a2 * b0 + a3 * b1,
        a0 * b3 + a1 * b2 - a2 * b1 + a3 * b0,
    )


@kernel
def quaternion_of_turn(x, y, z):
    """Quaternion of the turn by |(x, y, z)| radians about that vector.

    The series takes over where the angle vanishes.
    """
    square = x * x + y * y + z * z
    if square < 1e-8:
        s = 0.5 - square / 48.0
        return 1.0 - square / 8.0, s * x, s * y, s * z
    angle = math.sqrt(square)
    s = math.sin(0.5 * angle) / angle
    return math.cos(0.5 * angle), s * x, s * y, s * z
