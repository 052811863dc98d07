"""Reads a triangle mesh from a file: OBJ-style text, STL or PLY, each as text or binary, told apart by its content.

A file that is no mesh may be anything, also what its reader is not meant to see: no sentence quotes a word of it.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

import numpy as np

from ...errors import ShapeError
from ...scenario.reading import LARGEST_MESH_BYTES
from .limits import require_few
from .obj import read_obj
from .ply import read_ply
from .stl import is_binary_stl, read_binary_stl, read_stl_text

UNITS_M = {"m": 1.0, "km": 1000.0}
FARTHEST_M = 1e8
"""A hundred times the largest body that is accepted: beyond, the sums of its shape lose their digits."""
_FORMS = "OBJ-style text, STL or PLY"


def read_mesh(path: str | Path, unit: str) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """Vertices in metres (n, 3), facets (m, 3) counting from 0, and the line (m,) each facet stands on, if it does.

    unit: of the coordinates, "m" or "km".  ShapeError where the file is no mesh.
    """
    if unit not in UNITS_M:
        raise ShapeError(
            str(path), f"unit {unit!r} given, {' or '.join(map(repr, UNITS_M))} is allowed; say which it is"
        )
    vertices, facets, lines = _parts(_content(path), str(path))
    if not len(facets):
        raise ShapeError(str(path), f"no facets given, {_FORMS} is allowed; is this a mesh file?")
    require_few(len(facets), "facets", str(path))
    require_few(len(vertices), "vertices", str(path))
    if not np.isfinite(vertices).all():
        raise ShapeError(str(path), "a vertex has not three finite numbers, which alone are allowed; correct it")
    if np.abs(vertices).max() > FARTHEST_M / UNITS_M[unit]:
        raise ShapeError(
            str(path), f"a vertex lies farther than {FARTHEST_M:g} m from the origin, nearer is allowed; check the unit"
        )
    return vertices * UNITS_M[unit], facets, lines


def _parts(raw: bytes, place: str) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """Vertices, facets and lines of any of the forms."""
    if raw.startswith((b"ply\n", b"ply\r")):
        return read_ply(raw, place)
    if is_binary_stl(raw):
        return *read_binary_stl(raw), None
    if b"\0" in raw:
        raise ShapeError(
            place,
            f"this is a binary file but no STL or PLY, or one that was cut off, {_FORMS} is allowed; convert the mesh",
        )
    text = raw.decode("utf-8", errors="replace")
    words = text.split(None, 1)
    return read_stl_text(text, place) if words and words[0].lower() == "solid" else read_obj(text, place)


def _without_waiting(path: str, flags: int) -> int:
    """A pipe that nobody writes to would keep the reader waiting for ever."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def _content(path: str | Path) -> bytes:
    """All of a regular file of a size that a mesh may have."""
    try:
        with open(path, "rb", opener=_without_waiting) as stream:
            if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                raise ShapeError(str(path), "this is no regular file, allowed is one; give the path of a mesh file")
            raw = stream.read(LARGEST_MESH_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, ShapeError):
            raise
        reason = getattr(error, "strerror", None) or "its name cannot be used"
        raise ShapeError(str(path), f"cannot be read ({reason}); give the path of a mesh file") from None
    if len(raw) > LARGEST_MESH_BYTES:
        raise ShapeError(str(path), f"larger than {LARGEST_MESH_BYTES >> 20} MiB, allowed is less; thin the mesh out")
    return raw
