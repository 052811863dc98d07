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
_OF_ELLIPSES = 48
"""Directions that cost next to nothing: of a million pairs of turned outlines one is misjudged, by 5 mm of 300 m."""
_NEWTON_STEPS, _SETTLED_RAD = 40, 1e-7
"""Of a maximum between two ellipses: there the excess is flat to 1e-14 of the bodies' size."""
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
def outline_matrix(turn, semi):
    """(xx, xy, yy) of the matrix E of an ellipsoid's outline, h(u)^2 = u E u; turn: the plane's axes in the body's."""
    xx, xy, yy = 0.0, 0.0, 0.0
    for j in range(3):
        x, y = turn[j] * semi[j], turn[3 + j] * semi[j]
        xx += x * x
        xy += x * y
        yy += y * y
    return xx, xy, yy


@kernel
def ellipse_support(matrix, c, s):
    """h(u) of an outline (xx, xy, yy), and its first and second derivative along the angle of u = (c, s)."""
    mean, half, slant = 0.5 * (matrix[0] + matrix[2]), 0.5 * (matrix[0] - matrix[2]), matrix[1]
    c2, s2 = c * c - s * s, 2.0 * c * s
    swing, lead = half * c2 + slant * s2, slant * c2 - half * s2
    h = math.sqrt(mean + swing)
    return h, lead / h, -(2.0 * swing + (lead / h) ** 2) / h


@kernel
def ellipse_excess(mode, c, s, delta, one, two):
    """`excess` of two ellipses (xx, xy, yy), and its first and second derivative along the angle of u = (c, s)."""
    h1, slope1, bend1 = ellipse_support(one, c, s)
    h2, slope2, bend2 = ellipse_support(two, c, s)
    along, across = c * delta[0] + s * delta[1], c * delta[1] - s * delta[0]
    if mode == 0:
        return along - h1 - h2, across - slope1 - slope2, -along - bend1 - bend2
    if mode == 1:
        return along + h2 - h1, across + slope2 - slope1, -along + bend2 - bend1
    return -along + h1 - h2, -across + slope1 - slope2, along + bend1 - bend2


@kernel
def greatest_of_ellipses(mode, delta, one, two, directions, values):
    """`greatest` of two ellipses, by Newton's steps between the neighbours of each of directions (n, 2) that may be the
    best, by halves where these lead out."""
    step = 2.0 * math.pi / len(values)
    best, size = -math.inf, 0.0
    for k in range(len(values)):
        values[k] = ellipse_excess(mode, directions[k, 0], directions[k, 1], delta, one, two)[0]
        best, size = max(best, values[k]), max(size, abs(values[k]))
    threshold = best - _TIE * size
    for k in range(len(values)):
        before, after = values[k - 1], values[(k + 1) % len(values)]
        if values[k] < threshold or values[k] < before or values[k] < after:
            continue
        low, angle, high = (k - 1) * step, k * step, (k + 1) * step
        for _ in range(_NEWTON_STEPS):
            value, slope, bend = ellipse_excess(mode, math.cos(angle), math.sin(angle), delta, one, two)
            best = max(best, value)
            if abs(slope) < -_SETTLED_RAD * bend:
                break
            low, high = (angle, high) if slope > 0.0 else (low, angle)
            angle = angle - slope / bend if bend < 0.0 else math.inf
            if not low < angle < high:
                angle = 0.5 * (low + high)
    return best


@kernel
def gaps_kernel(mode, delta, one, two, semi1, corners1, semi2, corners2, found):
    """`greatest` for m instants: delta (m, 2), one and two (m, 6), found (m,)."""
    if len(corners1) > 0 or len(corners2) > 0:
        values = np.empty(_DIRECTIONS)
        for i in range(len(found)):
            found[i] = greatest(mode, delta[i], one[i], two[i], semi1, corners1, semi2, corners2, values)
        return
    angle = 2.0 * math.pi / _OF_ELLIPSES * np.arange(_OF_ELLIPSES)
    directions, values = np.stack((np.cos(angle), np.sin(angle)), axis=1), np.empty(_OF_ELLIPSES)
    for i in range(len(found)):
        outlines = outline_matrix(one[i], semi1), outline_matrix(two[i], semi2)
        found[i] = greatest_of_ellipses(mode, delta[i], *outlines, directions, values)


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
