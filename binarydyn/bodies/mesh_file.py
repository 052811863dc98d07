"""Reads a triangle mesh from OBJ-style text: lines `v x y z` and `f i j k`."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..errors import ShapeError

UNITS_M = {"m": 1.0, "km": 1000.0}
# Keywords of such files that say nothing about the shape: texture, normals, names, materials, lines and points.
_IGNORED = {"vt", "vn", "vp", "g", "o", "s", "l", "p", "usemtl", "mtllib", "lod"}


def read_mesh(path: str | Path, unit: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices in metres (n, 3), facets (m, 3) counting from 0, and the line of the file (m,) each facet stands on.

    `f` takes vertex numbers from 1, or negative ones from the last vertex back, each with or without `/...`;
    a polygon becomes a fan of triangles about its first corner.  `#` starts a comment.  ShapeError for the rest.
    """
    if unit not in UNITS_M:
        raise ShapeError(
            str(path), f"unit {unit!r} given, {' or '.join(map(repr, UNITS_M))} is allowed; say which it is"
        )
    vertices, facets, lines = [], [], []
    for number, text in enumerate(_text(path).splitlines(), start=1):
        words = text.split("#", 1)[0].split()
        if not words or words[0] in _IGNORED:
            continue
        place = f"{path}:{number}"
        if words[0] == "v":
            vertices.append(_vertex(place, words[1:]))
        elif words[0] == "f":
            corners = [_corner(place, word, len(vertices)) for word in words[1:]]
            if len(corners) < 3:
                raise ShapeError(place, f"a facet of {len(corners)} corners given, three or more are allowed")
            fan = [(corners[0], corners[n], corners[n + 1]) for n in range(1, len(corners) - 1)]
            facets += fan
            lines += [number] * len(fan)
        else:
            raise ShapeError(
                place, f"{words[0][:20]!r} given, lines `v x y z` and `f i j k` are allowed; remove the line"
            )
    if not facets:
        raise ShapeError(str(path), "no facets given, lines `v x y z` and `f i j k` are needed; is this a mesh file?")
    return np.array(vertices) * UNITS_M[unit], np.array(facets, dtype=np.int64), np.array(lines)


def _text(path: str | Path) -> str:
    try:
        raw = Path(path).read_bytes()
    except OSError as error:
        raise ShapeError(str(path), f"cannot be read ({error.strerror}); give the path of a mesh file") from None
    if b"\0" in raw:
        raise ShapeError(str(path), "a binary file given, OBJ-style text is allowed; convert the mesh")
    return raw.decode("utf-8", errors="replace")


def _vertex(place: str, words: list[str]) -> tuple[float, ...]:
    """Three coordinates; a weight or a colour after them says nothing about the shape."""
    try:
        point = tuple(float(word) for word in words[:3])
    except ValueError:
        point = ()
    if len(point) != 3 or not all(abs(x) < float("inf") for x in point):
        raise ShapeError(place, f"vertex {' '.join(words)[:60]!r} given, three finite numbers are allowed; correct it")
    return point


def _corner(place: str, word: str, known: int) -> int:
    """Vertex number from 0 of `i`, `i/j`, `i//k` or `i/j/k`; only vertices of earlier lines count."""
    try:
        index = int(word.split("/", 1)[0])
    except ValueError:
        index = 0
    if index == 0 or index > known or index < -known:
        raise ShapeError(
            place,
            f"vertex number {word[:20]!r} given, 1 to {known} (or -1 to -{known}) is allowed; put the vertices first",
        )
    return index - 1 if index > 0 else known + index
