"""Whether a closed mesh crosses itself: pairs of facets whose boxes overlap, and edges that pierce a facet.

Boxes are swept along the longest direction of the body, so that of m facets only neighbours along it are compared.
"""

from __future__ import annotations

import numpy as np

from ..._jit import kernel

TOUCH = 1e-11
"""Share of the size by which an edge must reach through a facet: what rounding makes of facets in one plane is less."""
FOLDED = -1.0 + 1e-10
"""Cosine between the normals of facets at one edge below which they lie upon each other (closer than 0.001 deg)."""
_BUDGET = 2_000_000_000
_COST_OF_A_PAIR = 64
CROSS, FOLD, TOO_MANY = 1, 2, 3
"""What a search found: an edge through a facet, two facets upon each other, or more pairs than can be looked at."""


def crossing(vertices: np.ndarray, facets: np.ndarray) -> tuple[int, int, int]:
    """(what, facet, facet): 0 and nothing where the mesh does not cross itself; vertices (n, 3), facets (m, 3)."""
    corners = vertices[facets]
    extent = np.ptp(vertices[facets.ravel()], axis=0)
    turn = np.roll(np.arange(3), -int(np.argmax(extent)))
    low, high = corners.min(axis=1)[:, turn], corners.max(axis=1)[:, turn]
    order = np.argsort(low[:, 0], kind="stable")
    a, b, c = corners.swapaxes(0, 1)
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    parts = (np.ascontiguousarray(part[order]) for part in (corners, facets, normals, low, high))
    what, one, other = _search(*parts, TOUCH * float(extent.max()))
    return (what, *sorted((int(order[one]), int(order[other])))) if what in (CROSS, FOLD) else (what, -1, -1)


@kernel
def _search(corners, facets, normals, low, high, touch):
    """The first pair of facets, in the order of low[:, 0], that meet where they should not."""
    work = 0
    for i in range(len(facets)):
        for j in range(i + 1, len(facets)):
            work += 1
            if low[j, 0] > high[i, 0]:
                break
            if low[j, 1] > high[i, 1] or high[j, 1] < low[i, 1] or low[j, 2] > high[i, 2] or high[j, 2] < low[i, 2]:
                continue
            work += _COST_OF_A_PAIR
            shared = 0
            for k in range(3):
                for l in range(3):
                    shared += facets[i, k] == facets[j, l]
            if shared >= 2:
                ax, ay, az = normals[i, 0], normals[i, 1], normals[i, 2]
                if ax * normals[j, 0] + ay * normals[j, 1] + az * normals[j, 2] < FOLDED:
                    return FOLD, i, j
            elif _pierces(corners, facets, normals, i, j, touch) or _pierces(corners, facets, normals, j, i, touch):
                return CROSS, i, j
        if work > _BUDGET:
            return TOO_MANY, i, i
    return 0, 0, 0


@kernel
def _pierces(corners, facets, normals, i, j, touch):
    """Whether an edge of facet i that has no end in common with facet j passes through that.

    Its ends lie on both sides, farther than `touch` (m), and the point between them within the facet.
    """
    nx, ny, nz = normals[j, 0], normals[j, 1], normals[j, 2]
    ax, ay, az = corners[j, 0, 0], corners[j, 0, 1], corners[j, 0, 2]
    h0 = (corners[i, 0, 0] - ax) * nx + (corners[i, 0, 1] - ay) * ny + (corners[i, 0, 2] - az) * nz
    h1 = (corners[i, 1, 0] - ax) * nx + (corners[i, 1, 1] - ay) * ny + (corners[i, 1, 2] - az) * nz
    h2 = (corners[i, 2, 0] - ax) * nx + (corners[i, 2, 1] - ay) * ny + (corners[i, 2, 2] - az) * nz
    if not (max(h0, h1, h2) > touch and min(h0, h1, h2) < -touch):
        return False
    return (
        _through(corners, facets, normals, i, 0, h0, h1, j, touch)
        or _through(corners, facets, normals, i, 1, h1, h2, j, touch)
        or _through(corners, facets, normals, i, 2, h2, h0, j, touch)
    )


@kernel
def _through(corners, facets, normals, i, k, above, below, j, touch):
    """The same of the edge from corner k, whose ends are `above` and `below` (m) the plane of facet j."""
    if not ((above > touch and below < -touch) or (above < -touch and below > touch)):
        return False
    l = (k + 1) % 3
    for m in range(3):
        if facets[i, k] == facets[j, m] or facets[i, l] == facets[j, m]:
            return False
    share = above / (above - below)
    x = corners[i, k, 0] + share * (corners[i, l, 0] - corners[i, k, 0])
    y = corners[i, k, 1] + share * (corners[i, l, 1] - corners[i, k, 1])
    z = corners[i, k, 2] + share * (corners[i, l, 2] - corners[i, k, 2])
    nx, ny, nz = normals[j, 0], normals[j, 1], normals[j, 2]
    for m in range(3):
        o = (m + 1) % 3
        bx, by, bz = corners[j, m, 0], corners[j, m, 1], corners[j, m, 2]
        ex, ey, ez = corners[j, o, 0] - bx, corners[j, o, 1] - by, corners[j, o, 2] - bz
        rx, ry, rz = x - bx, y - by, z - bz
        if (ey * rz - ez * ry) * nx + (ez * rx - ex * rz) * ny + (ex * ry - ey * rx) * nz < 0.0:
            return False
    return True
