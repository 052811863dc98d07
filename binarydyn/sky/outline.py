"""Outlines of two bodies seen along a line, and how far they are from touching: kernels.

An outline is told by its support h(u), the greatest u.x on the body for a unit vector u across the line of sight: of an
ellipsoid with axes R and semi-axes D, |D R^T u|, exact for any orientation; of a mesh the greatest over its vertices,
which is the outline of its convex hull.  Two convex outlines at a distance Delta (1 -> 2) are apart if
max_u [u.Delta - h1(u) - h2(-u)] > 0, which is then their distance; the second lies inside the first if
max_u [u.Delta + h2(u) - h1(u)] < 0 (Minkowski; Schneider 2014, ch. 1).  A margin moves the touching: the penumbra.
"""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel

APART, TWO_INSIDE_ONE, ONE_INSIDE_TWO = 0, 1, 2
_DIRECTIONS = 24
_SECTION_STEPS = 32
_GOLDEN = 0.5 * (math.sqrt(5.0) - 1.0)
_TIE = 0.03
"""Share of the outlines' size: maxima below the best by less are refined too: 24 directions may misrank them."""


@kernel
def support(semi_axes, corners, x, y, z):
    """h(u), m, for u in the body's own frame."""
    if len(corners) == 0:
        return math.sqrt((semi_axes[0] * x) ** 2 + (semi_axes[1] * y) ** 2 + (semi_axes[2] * z) ** 2)
    best = -math.inf
    for k in range(len(corners)):
        best = max(best, corners[k, 0] * x + corners[k, 1] * y + corners[k, 2] * z)
    return best


@kernel
def excess(mode, angle, delta, one, two, semi1, corners1, semi2, corners2):
    """What is maximised over the angle of u; delta (2,), one and two (6,): the plane's axes in each body's."""
    c, s = math.cos(angle), math.sin(angle)
    side1, side2 = 1.0, 1.0
    if mode == 0:
        side2 = -1.0
    h1 = support(
        semi1,
        corners1,
        side1 * (c * one[0] + s * one[3]),
        side1 * (c * one[1] + s * one[4]),
        side1 * (c * one[2] + s * one[5]),
    )
    h2 = support(
        semi2,
        corners2,
        side2 * (c * two[0] + s * two[3]),
        side2 * (c * two[1] + s * two[4]),
        side2 * (c * two[2] + s * two[5]),
    )
    along = c * delta[0] + s * delta[1]
    if mode == 0:
        return along - h1 - h2
    if mode == 1:
        return along + h2 - h1
    return -along + h1 - h2


@kernel
def greatest(mode, delta, one, two, semi1, corners1, semi2, corners2, values):
    """Greatest excess over all directions, by 24 of them and a golden section about each that may be the best."""
    step = 2.0 * math.pi / len(values)
    best, size = -math.inf, 0.0
    for k in range(len(values)):
        values[k] = excess(mode, k * step, delta, one, two, semi1, corners1, semi2, corners2)
        best, size = max(best, values[k]), max(size, abs(values[k]))
    threshold = best - _TIE * size
    for k in range(len(values)):
        before, after = values[k - 1], values[(k + 1) % len(values)]
        if values[k] < threshold or values[k] < before or values[k] < after:
            continue
        low, high = (k - 1) * step, (k + 1) * step
        a, b = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        fa = excess(mode, a, delta, one, two, semi1, corners1, semi2, corners2)
        fb = excess(mode, b, delta, one, two, semi1, corners1, semi2, corners2)
        for _ in range(_SECTION_STEPS):
            if fa > fb:
                high, b, fb = b, a, fa
                a = high - _GOLDEN * (high - low)
                fa = excess(mode, a, delta, one, two, semi1, corners1, semi2, corners2)
            else:
                low, a, fa = a, b, fb
                b = low + _GOLDEN * (high - low)
                fb = excess(mode, b, delta, one, two, semi1, corners1, semi2, corners2)
        best = max(best, fa, fb)
    return best


@kernel
def gaps_kernel(mode, delta, one, two, semi1, corners1, semi2, corners2, found):
    """`greatest` for m instants: delta (m, 2), one and two (m, 6), found (m,)."""
    values = np.empty(_DIRECTIONS)
    for i in range(len(found)):
        found[i] = greatest(mode, delta[i], one[i], two[i], semi1, corners1, semi2, corners2, values)


def across(line: np.ndarray) -> np.ndarray:
    """(m, 2, 3) unit vectors that span the plane across lines of sight (m, 3), right-handed with them.

    The first lies in the plane of the orbit before t0 (z is its pole) wherever the line is not along z.
    """
    pole = np.where(np.abs(line[:, 2:]) > 1.0 - 1e-9, [[0.0, 1.0, 0.0]], [[0.0, 0.0, 1.0]])
    x = np.cross(pole, line)
    x /= np.linalg.norm(x, axis=1)[:, None]
    return np.stack([x, np.cross(line, x)], axis=1)


def gaps(mode: int, places, figures, line: np.ndarray) -> np.ndarray:
    """(m,) by how many metres the outlines are apart (mode APART) or the one sticks out of the other (the others).

    Negative: they overlap, or it lies inside.  places (Places) of two figures (Figure), lines of sight (m, 3).
    """
    plane = across(line)
    delta = np.einsum("mij,mj->mi", plane, places.centre2_m - places.centre1_m)
    one, two = (np.ascontiguousarray((plane @ axes).reshape(-1, 6)) for axes in (places.axes1, places.axes2))
    found = np.empty(len(line))
    (a, b) = figures
    gaps_kernel(np.int64(mode), delta, one, two, a.semi_axes_m, a.corners_m, b.semi_axes_m, b.corners_m, found)
    return found
