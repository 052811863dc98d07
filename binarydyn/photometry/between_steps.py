"""Where the bodies are between the evenly spaced samples of a run of the splitting: kernels, no tables.

A step of the splitting is long: the orbit turns by 0.5 rad in it, a primary by up to 2.4.  Position: the polynomial of
degree 7 through four samples and their velocities, by weights that all three components share.  Attitudes: the samples
on either side turned on at their rates, which are taken to change evenly between them, and the mean of both by
nearness.
"""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel
from ..motion.layout import Q1, Q2, W1, W2, R, V
from ..vectors import four, quaternion_of_turn, quaternion_product, rotation_of_quaternion, three

SLOPE = 11.0 / 6.0, 0.5
"""Of the cubic that is 1 at an outer (inner) one of four even nodes and 0 at the others, there; signs by the side."""


@kernel
def hermite_weights(x, weights):
    """Fill weights (8,) of four values at 0, 1, 2, 3 and of their four slopes, for the polynomial of degree 7 at x."""
    outer, inner = SLOPE
    a, b, c, d = x, x - 1.0, x - 2.0, x - 3.0
    l0, l1, l2, l3 = b * c * d / -6.0, 0.5 * a * c * d, -0.5 * a * b * d, a * b * c / 6.0
    weights[0] = (1.0 + 2.0 * outer * a) * l0 * l0
    weights[1] = (1.0 + 2.0 * inner * b) * l1 * l1
    weights[2] = (1.0 - 2.0 * inner * c) * l2 * l2
    weights[3] = (1.0 - 2.0 * outer * d) * l3 * l3
    weights[4], weights[5], weights[6], weights[7] = a * l0 * l0, b * l1 * l1, c * l2 * l2, d * l3 * l3


@kernel
def position_between(samples, x, step_s, weights, position):
    """Fill position (3,), m, at x steps from the first of samples (k, 20), k at least 4; step_s may be negative."""
    first = min(max(int(math.floor(x)) - 1, 0), len(samples) - 4)
    hermite_weights(x - first, weights)
    for j in range(3):
        value = 0.0
        for i in range(4):
            value += weights[i] * samples[first + i, R + j] + step_s * weights[4 + i] * samples[first + i, V + j]
        position[j] = value


@kernel
def turned_on(sample, q, w, after, other, share, sign):
    """Quaternion of a sample (20,) turned on for `after` s; its rate goes towards another sample's by half a share."""
    a0, a1, a2, a3 = four(sample, q, 1)
    x, y, z = three(sample, w, 1)
    u, v, t = three(other, w, 1)
    b0, b1, b2, b3 = quaternion_of_turn(
        (x + share * (u - x)) * after, (y + share * (v - y)) * after, (z + share * (t - z)) * after
    )
    c0, c1, c2, c3 = quaternion_product(a0, a1, a2, a3, b0, b1, b2, b3)
    return sign * c0, sign * c1, sign * c2, sign * c3


@kernel
def attitude_between(samples, x, step_s, q, w, axes):
    """Fill axes (9,): rotation matrix, row by row, of the body whose quaternion and rates stand at q and w."""
    k = min(max(int(math.floor(x)), 0), len(samples) - 2)
    here, ahead, away = samples[k], samples[k + 1], x - k
    a0, a1, a2, a3 = turned_on(here, q, w, away * step_s, ahead, 0.5 * away, 1.0 - away)
    b0, b1, b2, b3 = turned_on(ahead, q, w, (away - 1.0) * step_s, here, 0.5 * (1.0 - away), away)
    if a0 * b0 + a1 * b1 + a2 * b2 + a3 * b3 < 0.0:
        b0, b1, b2, b3 = -b0, -b1, -b2, -b3
    turn = rotation_of_quaternion(a0 + b0, a1 + b1, a2 + b2, a3 + b3)
    for i in range(9):
        axes[i] = turn[i]


@kernel
def places_between(samples, start_s, step_s, time_s, position, axes1, axes2):
    """Fill position (m, 3) and axes (m, 9) of both bodies at times (m,) of one run's samples (k, 20)."""
    weights = np.empty(8)
    for m in range(len(time_s)):
        x = (time_s[m] - start_s) / step_s
        position_between(samples, x, step_s, weights, position[m])
        attitude_between(samples, x, step_s, Q1, W1, axes1[m])
        attitude_between(samples, x, step_s, Q2, W2, axes2[m])
