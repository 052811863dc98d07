"""OBJ-style text: lines `v x y z` and `f i j k`."""

from __future__ import annotations

import numpy as np

from ...errors import ShapeError
from .limits import MOST_CORNERS, lines_of, point_of, require_few

# Keywords of such files that say nothing about the shape: texture, normals, names, materials, lines and points.
_IGNORED = {"vt", "vn", "vp", "g", "o", "s", "l", "p", "usemtl", "mtllib", "lod"}


def read_obj(text: str, place: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices (n, 3), facets (m, 3) counting from 0, and the line of the text (m,) each facet stands on.

    `f` takes vertex numbers from 1, or negative ones from the last vertex back, each with or without `/...`;
    a polygon becomes a fan of triangles about its first corner.  `#` starts a comment.  ShapeError for the rest.
    """
    vertices, facets, lines = [], [], []
    for number, line in enumerate(lines_of(text, place), start=1):
        words = line.split("#", 1)[0].split()
        if not words or words[0] in _IGNORED:
            continue
        here = f"{place}:{number}"
        if words[0] == "v":
            # A weight or a colour after the coordinates says nothing about the shape.
            vertices.append(point_of(words[1:4], here))
        elif words[0] == "f":
            if not 3 <= len(words) - 1 <= MOST_CORNERS:
                raise ShapeError(here, f"a facet of {len(words) - 1} corners given, 3 to {MOST_CORNERS} are allowed")
            corners = [_corner(here, word, len(vertices)) for word in words[1:]]
            fan = [(corners[0], corners[n], corners[n + 1]) for n in range(1, len(corners) - 1)]
            facets += fan
            lines += [number] * len(fan)
            require_few(len(facets), "facets", place)
        else:
            raise ShapeError(here, "not a line `v x y z` or `f i j k` of OBJ-style text; is this a mesh file?")
    return np.array(vertices).reshape(-1, 3), np.array(facets, dtype=np.int64).reshape(-1, 3), np.array(lines)


def _corner(place: str, word: str, known: int) -> int:
    """Vertex number from 0 of `i`, `i/j`, `i//k` or `i/j/k`; only vertices of earlier lines count."""
    try:
        index = int(word.split("/", 1)[0][:20])
    except ValueError:
        index = 0
    if index == 0 or index > known or index < -known:
        raise ShapeError(
            place, f"a vertex number that is none of 1 to {known} (or -1 to -{known}) given; put the vertices first"
        )
    return index - 1 if index > 0 else known + index
