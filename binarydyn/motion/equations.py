"""The equations of motion of two rigid bodies: twenty rates of change from twenty numbers.

r'' = F/m, with F and the torques tau from gravity (expansion.py);  q' = q w / 2;  I w' = tau - w x I w, in each
body's frame (Goldstein 1980, Classical Mechanics, 2nd ed., ch. 5).  Attitudes enter through q/|q|, so the length of q
is never forced.
"""

from __future__ import annotations

import math
from functools import cache
from types import ModuleType

import numba
import numpy as np

from .._jit import by_model, kernel, written_module
from ..constants import G
from ..gravity.generator import field_terms, matrix_times
from ..gravity.models import MODELS, potential
from ..gravity.multipoles import coefficients
from ..gravity.tape import Tape, Term, text_of
from ..vectors import four, quaternion_product, rotation_of_quaternion, three
from .layout import (
    ATTITUDE1,
    ATTITUDE2,
    F1,
    F2,
    GM,
    I1,
    I2,
    IN_RATES,
    POSITION,
    Q1,
    Q2,
    RATE1,
    RATE2,
    SIZE,
    SPIN1,
    SPIN2,
    VELOCITY,
    W1,
    W2,
    R,
    V,
)


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


GROWING = (GM, F1, F1 + 1, F1 + 2, F2, F2 + 1, F2 + 2)
"""Places of the motion constants that grow as a factor on both masses: G M and G M1 M2 / I."""


def with_masses(constants: np.ndarray, factor) -> np.ndarray:
    """Motion constants (19,) or (19, m) of pairs with both masses multiplied by a factor, a number or (m,)."""
    out = constants.copy()
    out[list(GROWING)] *= factor
    out[I1:] /= factor
    return out


def parameters(primary, secondary, degree: int, even: bool) -> tuple[np.ndarray, np.ndarray]:
    """The two parameter arrays of the kernels: motion constants and gravity coefficients."""
    return motion_constants(primary, secondary), coefficients(primary, secondary, degree, even)


# The formulae below take numbers or terms of a tape alike.


def turn(w, x, y, z, s):
    """Rotation matrix of a quaternion with s = 2 / |q|^2; the products do not wait for s."""
    wx, wy, wz = w * x, w * y, w * z
    xx, xy, xz, yy, yz, zz = x * x, x * y, x * z, y * y, y * z, z * z
    return [
        [1.0 - s * (yy + zz), s * (xy - wz), s * (xz + wy)],
        [s * (xy + wz), 1.0 - s * (xx + zz), s * (yz - wx)],
        [s * (xz - wy), s * (yz + wx), 1.0 - s * (xx + yy)],
    ]


def double_reciprocal(w, x, y, z):
    """2 / |q|^2 to second order in |q|^2 - 1, which integration keeps below 1e-7.

    Exact to rounding, and no division to wait for.
    """
    return 4.0 - 2.0 * ((w * w + x * x) + (y * y + z * z))


def relative_quaternion(q, p):
    """conj(q) p, frame 2 -> frame 1, of two attitudes."""
    return (
        q[0] * p[0] + q[1] * p[1] + q[2] * p[2] + q[3] * p[3],
        q[0] * p[1] - q[1] * p[0] - q[2] * p[3] + q[3] * p[2],
        q[0] * p[2] + q[1] * p[3] - q[2] * p[0] - q[3] * p[1],
        q[0] * p[3] - q[1] * p[2] + q[2] * p[1] - q[3] * p[0],
    )


def quaternion_rate(q, w):
    """q w / 2, w in the body frame."""
    x, y, z = 0.5 * w[0], 0.5 * w[1], 0.5 * w[2]
    return [
        -(q[1] * x) - q[2] * y - q[3] * z,
        q[0] * x + q[2] * z - q[3] * y,
        q[0] * y + q[3] * x - q[1] * z,
        q[0] * z + q[1] * y - q[2] * x,
    ]


def spin_rate(torque, w, k):
    """w' from the torque per G M1 M2; k: G M1 M2 / I (3) and the asymmetries (I_y - I_z)/I_x, cyclic (3)."""
    turns = (w[1] * w[2], w[2] * w[0], w[0] * w[1])
    return [k[i] * torque[i] + k[3 + i] * turns[i] for i in range(3)]


def pull_terms(degree: int, even: bool, tape: Tape, r: list, q: list, p: list, u: Term) -> tuple[list, list]:
    """Gradient of Phi (inertial) and both torques per G M1 M2 (body frames); the tape reads the coefficients c."""
    s, t = double_reciprocal(*q), double_reciprocal(*p)
    w, x, y, z = q
    one = turn(w, x, y, z, s)
    w, x, y, z = relative_quaternion(q, p)
    relative = turn(w, x, y, z, 0.5 * s * t)
    x = matrix_times([list(column) for column in zip(*one, strict=True)], r)
    x2 = matrix_times([list(column) for column in zip(*relative, strict=True)], x)
    found, _ = field_terms(degree, even, tape, x, x2, u, relative)
    return matrix_times(one, found[0:3]), found[3:9]


def rates_terms(degree: int, even: bool, tape: Tape, y: list, k: list) -> list:
    """The twenty rates of the state y on a tape."""
    r, q, p = y[POSITION], y[ATTITUDE1], y[ATTITUDE2]
    u = tape.inverse_root(r[0] * r[0] + r[1] * r[1] + r[2] * r[2])
    pull, torques = pull_terms(degree, even, tape, r, q, p, u)
    fall = u * u * u
    out = [*y[VELOCITY], *(k[GM] * (pull[i] - fall * r[i]) for i in range(3))]
    out += quaternion_rate(q, y[RATE1]) + spin_rate(torques[0:3], y[RATE1], k[SPIN1])
    out += quaternion_rate(p, y[RATE2]) + spin_rate(torques[3:6], y[RATE2], k[SPIN2])
    return out


def rates_on_tape(degree: int, even: bool) -> tuple[Tape, list]:
    """The right-hand side of a gravity model: a tape that reads the arrays y, k and c, and the twenty rates."""
    tape = Tape()
    return tape, rates_terms(degree, even, tape, tape.array("y", range(SIZE)), tape.array("k", range(IN_RATES)))


def source(degree: int, even: bool) -> str:
    """Text of the module with the kernel `rates` of one gravity model."""
    tape, out = rates_on_tape(degree, even)
    lines = ["called_not_copied()", "at, to = not_negative(at), not_negative(to)"]
    lines += tape.body(out, {"y": "w[at + {}]".format, "k": "k[{}]".format, "c": "c[{}]".format})
    lines += [f"w[to + {i}] = {text_of(value)}" for i, value in enumerate(out)]
    head = '"""The equations of motion for one gravity model: written by binarydyn.motion.equations."""\n\n'
    head += "import math\n\nfrom binarydyn._jit import called_not_copied, fma, kernel, not_negative\n\n\n"
    head += "@kernel\ndef rates(w, at, to, c, k):\n"
    return head + "".join(f"    {line}\n" for line in lines)


PERTURBED = 1000
"""Added to the number of a gravity model: the same with the terms of perturbing.py, which depend on the time."""


def perturbed_source(number: int) -> str:
    """Text of the module with the kernel `rates` of a gravity model and the perturbations."""
    return f'''"""The equations of motion with perturbations: written by binarydyn.motion.equations."""

from binarydyn._jit import kernel
from binarydyn.motion.perturbing import add
from binarydyn_written.motion_{number} import rates as own


@kernel
def rates(w, at, to, c, k):
    own(w, at, to, c, k)
    add(w, at, to, k)
'''


@cache
def module(number: int) -> ModuleType:
    """The module with the kernel `rates` of a gravity model, or of one with perturbations."""
    if number >= PERTURBED:
        module(number - PERTURBED)  # its rates are imported by the written text
        return written_module(f"motion_{number}", lambda: perturbed_source(number - PERTURBED))
    model = MODELS[number]
    return written_module(f"motion_{number}", lambda: source(model.degree, model.even))


rates = by_model(module, "rates")
"""rates(model, w, at, to, c, k): write the rates of the state w[at : at + 20] to w[to : to + 20].

k motion constants, c gravity coefficients; nan or inf where r = 0.  With perturbations k has their constants too, and
the time is read from the work array.
"""


@kernel
def conserved(model, w, at, c, k):
    """(E, Hx, Hy, Hz) of the state w[at : at + 20].

    Energy over G M1 M2 (1/m), angular momentum over m (m2/s), inertial frame.
    """
    model = numba.literally(model)
    (rx, ry, rz), (vx, vy, vz) = three(w, at + R, 1), three(w, at + V, 1)
    (q0, q1, q2, q3), (o1, o2, o3) = four(w, at + Q1, 1), three(w, at + W1, 1)
    (p0, p1, p2, p3), (s1, s2, s3) = four(w, at + Q2, 1), three(w, at + W2, 1)
    A11, A12, A13, A21, A22, A23, A31, A32, A33 = rotation_of_quaternion(q0, q1, q2, q3)
    B11, B12, B13, B21, B22, B23, B31, B32, B33 = rotation_of_quaternion(p0, p1, p2, p3)
    e0, e1, e2, e3 = quaternion_product(q0, -q1, -q2, -q3, p0, p1, p2, p3)
    C11, C12, C13, C21, C22, C23, C31, C32, C33 = rotation_of_quaternion(e0, e1, e2, e3)
    x, y, z = A11 * rx + A21 * ry + A31 * rz, A12 * rx + A22 * ry + A32 * rz, A13 * rx + A23 * ry + A33 * rz
    X, Y, Z = B11 * rx + B21 * ry + B31 * rz, B12 * rx + B22 * ry + B32 * rz, B13 * rx + B23 * ry + B33 * rz
    u = 1.0 / math.sqrt(rx * rx + ry * ry + rz * rz)
    phi = potential(model, x, y, z, X, Y, Z, u, C11, C12, C13, C21, C22, C23, C31, C32, C33, c)
    gm, (a1, a2, a3), (b1, b2, b3) = k[GM], three(k, I1, 1), three(k, I2, 1)
    l1, l2, l3 = a1 * o1, a2 * o2, a3 * o3
    m1, m2, m3 = b1 * s1, b2 * s2, b3 * s3
    spin = l1 * o1 + l2 * o2 + l3 * o3 + m1 * s1 + m2 * s2 + m3 * s3
    energy = 0.5 * ((vx * vx + vy * vy + vz * vz) / gm + spin) - u - phi
    hx = ry * vz - rz * vy + gm * (A11 * l1 + A12 * l2 + A13 * l3 + B11 * m1 + B12 * m2 + B13 * m3)
    hy = rz * vx - rx * vz + gm * (A21 * l1 + A22 * l2 + A23 * l3 + B21 * m1 + B22 * m2 + B23 * m3)
    hz = rx * vy - ry * vx + gm * (A31 * l1 + A32 * l2 + A33 * l3 + B31 * m1 + B32 * m2 + B33 * m3)
    return energy, hx, hy, hz
