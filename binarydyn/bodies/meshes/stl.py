"""STL, text or binary: facets by the coordinates of their corners, which are joined where they are exactly equal."""

from __future__ import annotations

import numpy as np

from ...errors import ShapeError
from .limits import lines_of, point_of

_HEAD = 84
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_WORDS = {"solid", "facet", "outer", "vertex", "endloop", "endfacet", "endsolid"}


def is_binary_stl(raw: bytes) -> bool:
    """Whether the length is that of 80 bytes, a count of facets, and 50 bytes for each: text may begin as it likes."""
    return len(raw) >= _HEAD and len(raw) == _HEAD + _FACET.itemsize * int.from_bytes(raw[80:84], "little")


def read_binary_stl(raw: bytes) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n, 3), facets (m, 3) counting from 0.  Normals are not asked: the order of corners says them."""
    with np.errstate(invalid="ignore"):  # signalling nan is refused by the caller, like any other
        return _joined(np.frombuffer(raw, _FACET, offset=_HEAD)["corners"].astype(float).reshape(-1, 3))


def read_stl_text(text: str, place: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices (n, 3), facets (m, 3) counting from 0, the line (m,) of each facet's first corner.  ShapeError."""
    corners, lines, in_loop = [], [], 0
    for number, line in enumerate(lines_of(text, place), start=1):
        words = line.lower().split()
        if not words:
            continue
        here = f"{place}:{number}"
        if words[0] not in _WORDS:
            raise ShapeError(here, "not a line of an STL; is this a mesh file?")
        if words[0] == "vertex":
            corners.append(point_of(words[1:], here))
            lines.append(number)
            in_loop += 1
        elif words[0] in ("facet", "endfacet", "endsolid") and in_loop not in (0, 3):
            raise ShapeError(here, f"a facet of {in_loop} corners given before it, three are allowed")
        elif words[0] == "endfacet":
            in_loop = 0
    if in_loop:
        raise ShapeError(place, "the text ends within a facet, `endfacet` is missing; the file was cut off")
    vertices, facets = _joined(np.array(corners).reshape(-1, 3))
    return vertices, facets, np.array(lines[::3])


def _joined(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Equal corners (3 m, 3) become one vertex; 0 and -0 are equal."""
    vertices, number = np.unique(corners + 0.0, axis=0, return_inverse=True)
    return vertices, number.reshape(-1, 3).astype(np.int64)
