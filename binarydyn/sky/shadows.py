"""Which points of a surface another body, or the same one, keeps from the light or from sight: kernels.

Along a line of sight every point has a place (x, y) across it and a height h towards the Sun or the observer.  It is
blocked where a surface lies higher at its (x, y).  Of an ellipsoid that height is the upper root of a quadratic, exact.
Of a mesh it is looked up among the facets that face the line, sorted into the cells of a grid across it.
"""

from __future__ import annotations

import math

import numpy as np

from .._jit import kernel

CELLS = 32
"""Of the grid along each side: with 1000 facing facets a cell meets about seven of them."""
SLACK = 1e-7
"""Of a body's size: a facet must lie higher than this above a point to block it."""


@kernel
def quadric(turn, semi, form):
    """Fill form (6,) with xx, xy, yy, xh, yh, hh of the inverse of turn D^2 turn^T: the ellipsoid across the line."""
    for k in range(6):
        form[k] = 0.0
    for j in range(3):
        w = 1.0 / (semi[j] * semi[j])
        a, b, c = turn[j], turn[3 + j], turn[6 + j]
        form[0] += w * a * a
        form[1] += w * a * b
        form[2] += w * b * b
        form[3] += w * a * c
        form[4] += w * b * c
        form[5] += w * c * c


@kernel
def ellipsoid_top(xx, xy, yy, xh, yh, hh, u, v):
    """Height of an ellipsoid's upper surface above its middle at (u, v) from it; -inf beside it."""
    half = xh * u + yh * v
    room = half * half - hh * (xx * u * u + 2.0 * xy * u * v + yy * v * v - 1.0)
    return (math.sqrt(max(room, 0.0)) - half) / hh if room > 0.0 else -math.inf


@kernel
def cell(value, low, scale):
    """Index of the cell of a coordinate, held to the grid."""
    return min(max(int((value - low) * scale), 0), CELLS - 1)


@kernel
def mesh_grid(turn, shift, vertices, facets, placed, seen, frame, heads):
    """Sort the facets that face the line into cells; returns the entries of all cells, one after the other.

    Fills placed (n, 3), the vertices across the line; seen (m, 10), of each facet its greatest height, its plane
    (h = sx x + sy y + h0) and its corners; frame (4,), x and y of the first corner of the grid and cells per metre;
    heads, where each cell begins among the entries.
    """
    low_x, high_x, low_y, high_y = math.inf, -math.inf, math.inf, -math.inf
    for k in range(len(vertices)):
        a, b, c = vertices[k, 0], vertices[k, 1], vertices[k, 2]
        x = turn[0] * a + turn[1] * b + turn[2] * c + shift[0]
        y = turn[3] * a + turn[4] * b + turn[5] * c + shift[1]
        placed[k, 0], placed[k, 1] = x, y
        placed[k, 2] = turn[6] * a + turn[7] * b + turn[8] * c + shift[2]
        low_x, high_x, low_y, high_y = min(low_x, x), max(high_x, x), min(low_y, y), max(high_y, y)
    per_x, per_y = CELLS / (high_x - low_x), CELLS / (high_y - low_y)
    frame[0], frame[1], frame[2], frame[3] = low_x, low_y, per_x, per_y
    heads[:] = 0
    span = np.empty((len(facets), 4), np.int64)
    for f in range(len(facets)):
        i, j, k = facets[f, 0], facets[f, 1], facets[f, 2]
        ax, ay, ah = placed[i, 0], placed[i, 1], placed[i, 2]
        bx, by, bh = placed[j, 0], placed[j, 1], placed[j, 2]
        cx, cy, ch = placed[k, 0], placed[k, 1], placed[k, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area <= 0.0:
            span[f, 0], span[f, 1], span[f, 2], span[f, 3] = 1, 0, 1, 0
            continue
        seen[f, 4], seen[f, 5], seen[f, 6], seen[f, 7], seen[f, 8], seen[f, 9] = ax, ay, bx, by, cx, cy
        seen[f, 0] = max(ah, bh, ch)
        seen[f, 1] = ((bh - ah) * (cy - ay) - (ch - ah) * (by - ay)) / area
        seen[f, 2] = ((ch - ah) * (bx - ax) - (bh - ah) * (cx - ax)) / area
        seen[f, 3] = ah - seen[f, 1] * ax - seen[f, 2] * ay
        i0, i1 = cell(min(ax, bx, cx), low_x, per_x), cell(max(ax, bx, cx), low_x, per_x)
        j0, j1 = cell(min(ay, by, cy), low_y, per_y), cell(max(ay, by, cy), low_y, per_y)
        span[f, 0], span[f, 1], span[f, 2], span[f, 3] = i0, i1, j0, j1
        for i in range(i0, i1 + 1):
            for j in range(j0, j1 + 1):
                heads[i * CELLS + j] += 1
    for k in range(CELLS * CELLS):
        heads[k + 1] += heads[k]
    entries = np.empty(heads[CELLS * CELLS - 1], np.int64)
    heads[CELLS * CELLS] = len(entries)
    for f in range(len(facets)):  # each cell is filled from its end, and its head ends up at its start
        for i in range(span[f, 0], span[f, 1] + 1):
            for j in range(span[f, 2], span[f, 3] + 1):
                heads[i * CELLS + j] -= 1
                entries[heads[i * CELLS + j]] = f
    return entries


@kernel
def block_by_ellipsoid(points, live, turn, shift, turn2, shift2, semi2):
    """Clear in live (f, p) the points (f, p, 3) of a body that an ellipsoid blocks, both seen along a line.

    turn (9,), shift (3,): from the frame of each body to (x, y, h).  A row of live that begins with 2 is left alone.
    """
    form = np.empty(6)
    quadric(turn2, semi2, form)
    xx, xy, yy, xh, yh, hh = form[0], form[1], form[2], form[3], form[4], form[5]
    t0, t1, t2, t3, t4 = turn[0], turn[1], turn[2], turn[3], turn[4]
    t5, t6, t7, t8 = turn[5], turn[6], turn[7], turn[8]
    dx, dy, dh = shift[0] - shift2[0], shift[1] - shift2[1], shift[2] - shift2[2]
    for f in range(len(live)):
        if live[f, 0] != 2:
            for p in range(live.shape[1]):
                a, b, c = points[f, p, 0], points[f, p, 1], points[f, p, 2]
                x, y, h = (
                    t0 * a + t1 * b + t2 * c + dx,
                    t3 * a + t4 * b + t5 * c + dy,
                    t6 * a + t7 * b + t8 * c + dh,
                )
                if ellipsoid_top(xx, xy, yy, xh, yh, hh, x, y) > h:
                    live[f, p] = 0


@kernel
def block_by_mesh(points, live, turn, shift, own, overlooked, slack, seen, frame, heads, entries):
    """The same for a mesh that mesh_grid has sorted; own: it is the same body, of which only
    overlooked facets (f,) can be blocked, and none by itself.

    slack, m: by how much a facet must lie higher, for rounding makes neighbours overlap.
    """
    t0, t1, t2, t3, t4 = turn[0], turn[1], turn[2], turn[3], turn[4]
    t5, t6, t7, t8 = turn[5], turn[6], turn[7], turn[8]
    dx, dy, dh = shift[0], shift[1], shift[2] + slack
    low_x, low_y, per_x, per_y = frame[0], frame[1], frame[2], frame[3]
    for f in range(len(live)):
        if live[f, 0] == 2 or (own and not overlooked[f]):
            continue
        for p in range(live.shape[1]):
            a, b, c = points[f, p, 0], points[f, p, 1], points[f, p, 2]
            x, y, h = t0 * a + t1 * b + t2 * c + dx, t3 * a + t4 * b + t5 * c + dy, t6 * a + t7 * b + t8 * c + dh
            u, v = (x - low_x) * per_x, (y - low_y) * per_y
            if u < 0.0 or v < 0.0 or u >= CELLS or v >= CELLS or live[f, p] == 0:
                continue
            place = int(u) * CELLS + int(v)
            for k in range(heads[place], heads[place + 1]):
                g = entries[k]
                if seen[g, 0] <= h or seen[g, 3] + seen[g, 1] * x + seen[g, 2] * y <= h or (own and g == f):
                    continue
                ax, ay, bx, by = seen[g, 4] - x, seen[g, 5] - y, seen[g, 6] - x, seen[g, 7] - y
                cx, cy = seen[g, 8] - x, seen[g, 9] - y
                if ax * by >= ay * bx and bx * cy >= by * cx and cx * ay >= cy * ax:
                    live[f, p] = 0
                    break


@kernel
def facet_top(x, y, seen, frame, heads, entries):
    """Height of a sorted mesh at a place across the line, and its slopes there (dh/dx, dh/dy); -inf beside it."""
    top, along_x, along_y = -math.inf, 0.0, 0.0
    u, v = (x - frame[0]) * frame[2], (y - frame[1]) * frame[3]
    if u < 0.0 or v < 0.0 or u >= CELLS or v >= CELLS:
        return top, along_x, along_y
    place = int(u) * CELLS + int(v)
    for k in range(heads[place], heads[place + 1]):
        g = entries[k]
        h = seen[g, 3] + seen[g, 1] * x + seen[g, 2] * y
        if h <= top:
            continue
        ax, ay, bx, by = seen[g, 4] - x, seen[g, 5] - y, seen[g, 6] - x, seen[g, 7] - y
        cx, cy = seen[g, 8] - x, seen[g, 9] - y
        if ax * by >= ay * bx and bx * cy >= by * cx and cx * ay >= cy * ax:
            top, along_x, along_y = h, seen[g, 1], seen[g, 2]
    return top, along_x, along_y
