"""What perturbations add to the rates: the constants of a run, and the kernel."""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel
from ..vectors import four, rotation_of_quaternion, three
from .drift import drag_constants
from .layout import A1, A2, CLOCK, DRAG, F2, GM, LAG, Q1, Q2, SUN, W1, W2, R, V
from .perturbations import Dissipation, Drift, Perturbations, SolarTide
from .state import State, System

_NEWTON_STEPS = 60
_NO_SUN = (0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def constants(on: Perturbations, system: System, state: State, forwards: bool) -> np.ndarray:
    """(15,): what the kernel `add` wants after the motion constants, for a run that starts at t0 in `state`."""
    sun = sun_constants(on.tide) if on.tide else _NO_SUN
    drag = drag_constants(on.drift or Drift(), system, state, forwards)
    return np.array([*sun, *drag, lag_coefficient(on.dissipation, system) if on.dissipation else 0.0])


def sun_constants(tide: SolarTide) -> tuple[float, ...]:
    """(10,): GM_sun, e, mean motion, mean anomaly at t0, and what cos E - e and sin E multiply, inertial frame."""
    orbit = tide.elements
    towards, along, _ = orbit.axes @ np.asarray(tide.axes).T
    minor = math.sqrt(1.0 - orbit.eccentricity**2)
    return (
        tide.gm_m3_s2,
        orbit.eccentricity,
        orbit.mean_motion_rad_s(tide.gm_m3_s2),
        orbit.mean_anomaly_rad,
        *(orbit.semi_major_axis_m * towards),
        *(orbit.semi_major_axis_m * minor * along),
    )


def lag_coefficient(tides: Dissipation, system: System) -> float:
    """3 K of the equation, m8/s, of an acceleration: 3 k2 lag R2^5 G (M1 + M2) M1/M2."""
    ratio = system.primary.mass_kg / system.secondary.mass_kg
    return 3.0 * tides.love_number * tides.time_lag_s * tides.radius_m**5 * system.gm_m3_s2 * ratio


@kernel
def sun(t, gm, e, n, anomaly, px, py, pz, qx, qy, qz):
    """Unit vector from the Sun to the system at the time t, and GM_sun / D^3; Kepler's equation by Newton's method.

    It starts above the root on half a turn, where the function is convex, so it cannot overshoot.
    """
    mean = anomaly + n * t
    mean -= 2.0 * math.pi * math.floor(mean / (2.0 * math.pi) + 0.5)
    half = abs(mean)
    found = min(half + e, math.pi)
    for _ in range(_NEWTON_STEPS):
        step = (found - e * math.sin(found) - half) / (1.0 - e * math.cos(found))
        found -= step
        if abs(step) < 1e-15:
            break
    c, s = math.cos(found) - e, math.copysign(math.sin(found), mean)
    x, y, z = c * px + s * qx, c * py + s * qy, c * pz + s * qz
    u = 1.0 / math.sqrt(x * x + y * y + z * z)
    return x * u, y * u, z * u, gm * u * u * u


@kernel
def drag(t, steady, first, decay, end):
    """y of the drift at the time t, 1/s."""
    return steady + first * math.exp(-decay * t) if 0.0 <= t < end else steady


@kernel
def add(w, at, to, k):
    """Add the perturbations to the rates w[to : to + 20] of the state w[at : at + 20] at the time w[CLOCK]."""
    t, (rx, ry, rz), (vx, vy, vz) = w[CLOCK], three(w, at + R, 1), three(w, at + V, 1)
    A11, A12, A13, A21, A22, A23, A31, A32, A33 = rotation_of_quaternion(*four(w, at + Q1, 1))
    B11, B12, B13, B21, B22, B23, B31, B32, B33 = rotation_of_quaternion(*four(w, at + Q2, 1))
    # the Sun: GM, e, mean motion, anomaly; towards the pericentre and along
    dx, dy, dz, g = sun(t, *four(k, SUN, 1), *three(k, SUN + 4, 1), *three(k, SUN + 7, 1))
    along = 3.0 * (dx * rx + dy * ry + dz * rz)
    ax, ay, az = g * (along * dx - rx), g * (along * dy - ry), g * (along * dz - rz)
    x, y, z = A11 * dx + A21 * dy + A31 * dz, A12 * dx + A22 * dy + A32 * dz, A13 * dx + A23 * dy + A33 * dz
    a, b, c = three(k, A1, 1)
    w[to + W1] -= 3.0 * g * a * y * z
    w[to + W1 + 1] -= 3.0 * g * b * z * x
    w[to + W1 + 2] -= 3.0 * g * c * x * y
    x, y, z = B11 * dx + B21 * dy + B31 * dz, B12 * dx + B22 * dy + B32 * dz, B13 * dx + B23 * dy + B33 * dz
    a, b, c = three(k, A2, 1)
    w[to + W2] -= 3.0 * g * a * y * z
    w[to + W2 + 1] -= 3.0 * g * b * z * x
    w[to + W2 + 2] -= 3.0 * g * c * x * y
    # the drift
    damping = drag(t, *four(k, DRAG, 1))
    # the lag: bx, by, bz are the acceleration, -m r x b the torque
    s1, s2, s3 = three(w, at + W2, 1)
    ox, oy, oz = B11 * s1 + B12 * s2 + B13 * s3, B21 * s1 + B22 * s2 + B23 * s3, B31 * s1 + B32 * s2 + B33 * s3
    square = rx * rx + ry * ry + rz * rz
    u = 1.0 / square
    lag = -k[LAG] * u * u * u * u * u
    radial = 2.0 * (rx * vx + ry * vy + rz * vz)
    bx = lag * (radial * rx + square * (ry * oz - rz * oy + vx))
    by = lag * (radial * ry + square * (rz * ox - rx * oz + vy))
    bz = lag * (radial * rz + square * (rx * oy - ry * ox + vz))
    x, y, z = rz * by - ry * bz, rx * bz - rz * bx, ry * bx - rx * by
    m, (a, b, c) = 1.0 / k[GM], three(k, F2, 1)
    w[to + W2] += m * a * (B11 * x + B21 * y + B31 * z)
    w[to + W2 + 1] += m * b * (B12 * x + B22 * y + B32 * z)
    w[to + W2 + 2] += m * c * (B13 * x + B23 * y + B33 * z)
    w[to + V] += ax - damping * vx + bx
    w[to + V + 1] += ay - damping * vy + by
    w[to + V + 2] += az - damping * vz + bz
