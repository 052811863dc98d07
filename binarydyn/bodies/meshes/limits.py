"""How large a mesh may be, so that no file keeps a command busy for longer than it takes to say so."""

from __future__ import annotations

from ...errors import ShapeError

LARGEST_FACETS = 200_000
"""Moments to degree 8 gain nothing from finer ones, and a normal is a mean over a crater."""
LARGEST_LINES = 10 * LARGEST_FACETS
"""Text of STL has 7 lines a facet."""
MOST_CORNERS = 1000
"""Of one polygon."""


def require_few(count: int, what: str, place: str) -> None:
    """ShapeError where there are more facets, or vertices, than a mesh may have."""
    if count > LARGEST_FACETS:
        raise ShapeError(place, f"{count} {what} given, up to {LARGEST_FACETS} are allowed; thin the mesh out")


def lines_of(text: str, place: str) -> list[str]:
    """Lines as editors count them; ShapeError where they are too many."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if text.count("\n") > LARGEST_LINES:
        raise ShapeError(place, f"more than {LARGEST_LINES} lines given, fewer are allowed; thin the mesh out")
    return text.split("\n")


def point_of(words: list[str], place: str) -> tuple[float, ...]:
    """Three finite coordinates."""
    try:
        point = tuple(float(word) for word in words)
    except ValueError:
        point = ()
    if len(point) != 3 or not all(abs(x) < float("inf") for x in point):
        raise ShapeError(place, "this vertex has not three finite numbers, which alone are allowed; correct it")
    return point
