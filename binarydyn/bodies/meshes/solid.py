"""Decides whether a triangle mesh is the outward surface of one connected solid, and names what is wrong if not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...errors import ShapeError
from .crossing import CROSS, TOO_MANY, crossing
from .limits import require_few


def require_solid(
    vertices: np.ndarray, facets: np.ndarray, place: str, first: int = 0, lines: np.ndarray | None = None
) -> None:
    """Raise ShapeError unless the mesh is closed, consistently oriented outward, connected, free of flat facets and
    nowhere crosses itself.

    vertices (n, 3), facets (m, 3) counting from 0.  In messages vertices and facets count from `first`;
    with `lines` a facet is named by its line in the file.
    """

    def facet_name(f: int) -> str:
        return f"the facet on line {lines[f]}" if lines is not None else f"facet {f + first}"

    require_few(len(facets), "facets", place)
    _require_area(vertices, facets, place, facet_name)
    heads, tails = facets.ravel(), np.roll(facets, -1, axis=1).ravel()
    _require_paired_edges(heads, tails, len(vertices), place, first, facet_name)
    _require_connected(heads, tails, len(facets), len(vertices), place, facet_name)
    a, b, c = (vertices - vertices[facets[0, 0]])[facets].swapaxes(0, 1)
    if np.einsum("ij,ij", a, np.cross(b, c)) <= 0.0:
        raise ShapeError(
            place,
            "all facets face inward (the volume is not positive), outward is allowed; "
            "reverse the order of the corners in every facet",
        )
    _require_no_crossing(vertices, facets, place, facet_name)


def _require_no_crossing(vertices: np.ndarray, facets: np.ndarray, place: str, name: Callable[[int], str]) -> None:
    """An overlap would count as often as it is enclosed, what is turned inside out as less than nothing."""
    what, one, other = crossing(vertices, facets)
    if what == TOO_MANY:
        raise ShapeError(
            place, "its facets lie beside too many others to look where they cross; divide long ones, or thin it out"
        )
    if what:
        how = "pass through each other" if what == CROSS else "are folded upon each other"
        raise ShapeError(
            place,
            f"the mesh crosses itself: {name(one)} and {name(other)} {how}, none may; move a vertex back that was "
            "turned inside out, or make the surface anew",
        )


def _require_area(vertices: np.ndarray, facets: np.ndarray, place: str, name: Callable[[int], str]) -> None:
    """Every facet's doubled area must exceed what rounding makes of collinear corners."""
    a, b, c = vertices[facets].swapaxes(0, 1)
    doubled = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    longest = np.sqrt(np.max([np.sum((b - a) ** 2, 1), np.sum((c - b) ** 2, 1), np.sum((a - c) ** 2, 1)], axis=0))
    flat = np.flatnonzero(doubled <= 1e-12 * longest**2 + 4e-16 * longest * np.abs(vertices).max())
    if flat.size:
        raise ShapeError(place, f"{name(flat[0])} has no area ({flat.size} such); remove it and join its neighbours")


def _require_paired_edges(heads, tails, n: int, place: str, first: int, name: Callable[[int], str]) -> None:
    """Every edge must be walked once in each direction: by two facets that agree on what is outside."""
    forward, backward = heads * n + tails, tails * n + heads
    edges, where, count = np.unique(np.minimum(forward, backward), return_index=True, return_counts=True)

    def refuse(bad: int, what: str) -> None:
        u, v, facet = heads[where[bad]] + first, tails[where[bad]] + first, where[bad] // 3
        raise ShapeError(place, f"the edge between vertices {u} and {v} of {name(facet)} {what}")

    wrong = np.flatnonzero(count == 1)
    if wrong.size:
        refuse(
            wrong[0],
            f"belongs to no other facet ({wrong.size} open edges), a closed surface is allowed; "
            "add the missing facets or merge doubled vertices",
        )
    wrong = np.flatnonzero(count > 2)
    if wrong.size:
        refuse(
            wrong[0],
            f"belongs to {count[wrong[0]]} facets, two are allowed; separate the parts that touch there",
        )
    walked_twice = np.flatnonzero(~np.isin(forward, backward))
    if walked_twice.size:
        bad = np.searchsorted(edges, min(forward[walked_twice[0]], backward[walked_twice[0]]))
        refuse(
            bad,
            "is walked in the same direction by both its facets, opposite ones are allowed; "
            "reverse the order of the corners in one of them",
        )


def _require_connected(heads, tails, n_facets: int, n: int, place: str, name: Callable[[int], str]) -> None:
    """From each facet all others must be reached across edges (an inner cavity is a second surface and refused too)."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    by_edge = np.lexsort([np.minimum(heads, tails), np.maximum(heads, tails)]) // 3
    left, right = by_edge[0::2], by_edge[1::2]
    graph = coo_matrix((np.ones(left.size), (left, right)), shape=(n_facets, n_facets))
    parts, label = connected_components(graph, directed=False)
    if parts > 1:
        stranger = int(np.flatnonzero(label != label[0])[0])
        raise ShapeError(
            place,
            f"{parts} separate surfaces given ({name(stranger)} is not connected with {name(0)}), "
            "one solid is allowed; keep one of them",
        )
