"""Where the bodies are between the evenly spaced samples of a run of the splitting: kernels, no tables.

A step of the splitting is long: the orbit turns by 0.5 rad in it, a primary by up to 2.4.  Position and quaternions, of
which the attitudes are half as fast, by the polynomial of degree 7 through four samples and their rates.
"""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel
from ..motion.layout import Q1, Q2, W1, W2, V
from ..vectors import quaternion_product, rotation_of_quaternion

COLUMNS = 11
"""Position and both quaternions."""


@kernel
def between_samples(samples, h, t, columns, value, rate):
    """Fill value (columns,) with position and quaternions, not of unit length, at time t, and rate (3,) with the
    velocity; samples (n, 20) at 0, h, 2h ..; beyond them the polynomial of the last four."""
    x = t / h
    k = min(max(int(math.floor(x)) - 1, 0), len(samples) - 4)
    x -= k
    for a in range(columns):
        value[a] = 0.0
    for a in range(3):
        rate[a] = 0.0
    for j in range(4):
        basis, slope, bend = 1.0, 0.0, 0.0
        for i in range(4):
            if i != j:
                w = 1.0 / (j - i)
                slope = (slope * (x - i) + basis) * w
                basis *= (x - i) * w
                bend += w
        d, square, change = x - j, basis * basis, 2.0 * basis * slope
        of_value, of_rate = (1.0 - 2.0 * bend * d) * square, d * square * h
        value_slope = ((1.0 - 2.0 * bend * d) * change - 2.0 * bend * square) / h
        rate_slope = square + d * change
        y = samples[k + j]
        for a in range(3):
            value[a] += of_value * y[a] + of_rate * y[V + a]
            rate[a] += value_slope * y[a] + rate_slope * y[V + a]
        if columns > 3:
            q = quaternion_product(
                y[Q1], y[Q1 + 1], y[Q1 + 2], y[Q1 + 3], 0.0, 0.5 * y[W1], 0.5 * y[W1 + 1], 0.5 * y[W1 + 2]
            )
            p = quaternion_product(
                y[Q2], y[Q2 + 1], y[Q2 + 2], y[Q2 + 3], 0.0, 0.5 * y[W2], 0.5 * y[W2 + 1], 0.5 * y[W2 + 2]
            )
            for a in range(4):
                value[3 + a] += of_value * y[Q1 + a] + of_rate * q[a]
                value[7 + a] += of_value * y[Q2 + a] + of_rate * p[a]


@kernel
def axes_at(value, at, axes):
    """Fill axes (3, 3), body to inertial, from the quaternion at a place."""
    r = rotation_of_quaternion(value[at], value[at + 1], value[at + 2], value[at + 3])
    axes[0, 0], axes[0, 1], axes[0, 2] = r[0], r[1], r[2]
    axes[1, 0], axes[1, 1], axes[1, 2] = r[3], r[4], r[5]
    axes[2, 0], axes[2, 1], axes[2, 2] = r[6], r[7], r[8]


@kernel
def places_between(samples, start_s, step_s, time_s, position, axes1, axes2):
    """Fill position (m, 3) and axes (m, 3, 3) of both bodies at times (m,) of one run's samples (k, 20)."""
    value, rate = np.empty(COLUMNS), np.empty(3)
    for m in range(len(time_s)):
        between_samples(samples, step_s, time_s[m] - start_s, COLUMNS, value, rate)
        position[m] = value[:3]
        axes_at(value, 3, axes1[m])
        axes_at(value, 7, axes2[m])
