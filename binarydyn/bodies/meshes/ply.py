"""PLY, text or binary: elements `vertex` with x, y, z and `face` with a list of vertex numbers, others passed over."""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass, field

import numpy as np

from ...errors import ShapeError
from .limits import MOST_CORNERS, require_few

_TYPES = {"char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4", "float": "f4"}
_TYPES |= {"double": "f8", "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4"}
_TYPES |= {"float32": "f4", "float64": "f8"}
_ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_LISTS = ("vertex_indices", "vertex_index")
_END = b"end_header"
_LONGEST_HEAD = 65536
_CUT_OFF = "it ends before the {count} rows of {name} that it announces, or one of them is no numbers; it was cut off"


@dataclass
class _Element:
    """A name, a count of rows and properties: name -> (type of a list's count, empty for one number; type)."""

    name: str
    count: int
    properties: dict[str, tuple[str, str]] = field(default_factory=dict)


def read_ply(raw: bytes, place: str) -> tuple[np.ndarray, np.ndarray, None]:
    """Vertices (n, 3), facets (m, 3) counting from 0, no lines; polygons become fans.  ShapeError else."""
    order, elements, at = _head(raw, place)
    columns, words = {}, (word[0] for word in re.finditer(rb"\S+", raw[at:])) if not order else None
    for element in elements:
        if element.name in columns:
            raise ShapeError(place, "its head has an element twice, once is allowed; export it anew")
        require_few(element.count, "rows of an element", place)
        try:
            if words is not None:
                columns[element.name] = _text_rows(words, element)
            else:
                columns[element.name], at = _binary_rows(raw, at, order, element)
        except (struct.error, ValueError, StopIteration, OverflowError):
            what = element.name if element.name in ("vertex", "face") else "an element"
            raise ShapeError(place, _CUT_OFF.format(count=element.count, name=what)) from None
    vertex, face = columns.get("vertex", {}), columns.get("face", {})
    lists = next((face[name] for name in _LISTS if name in face), None)
    if lists is None or not {"x", "y", "z"} <= set(vertex):
        raise ShapeError(place, "it has no element vertex with x, y, z or no face with vertex_indices; export it anew")
    with np.errstate(invalid="ignore"):  # signalling nan is refused by the caller, like any other
        vertices = np.array([vertex[axis] for axis in "xyz"], dtype=float).reshape(3, -1).T
    return vertices, _fans(lists, len(vertices), place), None


def _head(raw: bytes, place: str) -> tuple[str, list[_Element], int]:
    """Order of bytes, empty for text; the elements; where the rows begin."""
    end = raw.find(_END, 0, _LONGEST_HEAD)
    line_end = raw.find(b"\n", end)
    if end < 0 or line_end < 0:
        raise ShapeError(place, "a PLY whose head has no end, `end_header`; it was cut off")
    order, elements = None, []
    for line in raw[:end].decode("ascii", errors="replace").split("\n")[1:]:
        words = line.split()
        match words:
            case [] | ["comment" | "obj_info", *_]:
                continue
            case ["format", name, _] if name in _ORDERS and order is None:
                order = _ORDERS[name]
            case ["element", name, count] if count.isascii() and count.isdecimal() and len(count) < 20:
                elements.append(_Element(name, int(count)))
            case ["property", "list", count, kind, name] if elements and _is_whole(count) and kind in _TYPES:
                elements[-1].properties[name] = (_TYPES[count], _TYPES[kind])
            case ["property", kind, name] if elements and kind in _TYPES:
                elements[-1].properties[name] = ("", _TYPES[kind])
            case _:
                raise ShapeError(place, "a PLY with a line in its head that says nothing known; export it anew")
    if order is None:
        raise ShapeError(place, "a PLY whose head has no line `format`; export it anew")
    return order, elements, line_end + 1


def _is_whole(kind: str) -> bool:
    return _TYPES.get(kind, "f")[0] != "f"


def _text_rows(words, element: _Element) -> dict[str, list]:
    """By the name of a property: a number, or a list of them, for each row."""
    columns: dict[str, list] = {name: [] for name in element.properties}
    for _ in range(element.count):
        for name, (count, _) in element.properties.items():
            if count:
                columns[name].append([float(next(words)) for _ in range(int(next(words)))])
            else:
                columns[name].append(float(next(words)))
    return columns


def _binary_rows(raw: bytes, at: int, order: str, element: _Element) -> tuple[dict, int]:
    """The same, arrays where all rows have lists of one length, and where the next element begins."""
    if not element.count:
        return {name: [] for name in element.properties}, at
    lengths, _ = _row(raw, at, order, element)
    kinds = []
    for (name, (count, kind)), value in zip(element.properties.items(), lengths.values(), strict=True):
        if count:
            kinds += [(f"count of {name}", order + count), (name, order + kind, (len(value),))]
        else:
            kinds.append((name, order + kind))
    dtype = np.dtype(kinds)
    if at + dtype.itemsize * element.count <= len(raw):
        rows = np.frombuffer(raw, dtype, element.count, at)
        if all(
            np.all(rows[f"count of {name}"] == len(lengths[name]))
            for name, (count, _) in element.properties.items()
            if count
        ):
            return {name: rows[name] for name in element.properties}, at + dtype.itemsize * element.count
    columns: dict[str, list] = {name: [] for name in element.properties}
    for _ in range(element.count):
        row, at = _row(raw, at, order, element)
        for name, value in row.items():
            columns[name].append(value)
    return columns, at


_CODES = {"i1": "b", "u1": "B", "i2": "h", "u2": "H", "i4": "i", "u4": "I", "f4": "f", "f8": "d"}


def _row(raw: bytes, at: int, order: str, element: _Element) -> tuple[dict, int]:
    """One row, and where the next begins; struct.error where the file ends in it."""
    row = {}
    for name, (count, kind) in element.properties.items():
        length = 1
        if count:
            (length,) = struct.unpack_from(order + _CODES[count], raw, at)
            at += struct.calcsize(order + _CODES[count])
            if not 0 <= length <= MOST_CORNERS:
                raise ValueError("a list of too many")
        form = f"{order}{length}{_CODES[kind]}"
        values = struct.unpack_from(form, raw, at)
        at += struct.calcsize(form)
        row[name] = values if count else values[0]
    return row, at


def _fans(lists, known: int, place: str) -> np.ndarray:
    """(m, 3) triangles about the first corner of each polygon; ShapeError for numbers of no vertex."""
    if isinstance(lists, np.ndarray):
        fans = [lists[:, (0, n, n + 1)] for n in range(1, lists.shape[1] - 1)]
        corners = np.concatenate(fans, axis=1) if fans else np.empty((0, 3))
        few = lists.shape[1] < 3
    else:
        corners = np.array([(row[0], row[n], row[n + 1]) for row in lists for n in range(1, len(row) - 1)])
        few = any(len(row) < 3 for row in lists)
    facets = np.asarray(corners, dtype=float).reshape(-1, 3)
    if few:
        raise ShapeError(place, "a face of fewer than 3 corners given, three or more are allowed; export it anew")
    if not np.all((facets >= 0) & (facets < known) & (facets == np.floor(facets))):
        raise ShapeError(place, f"a face with a vertex number that is none of 0 to {known - 1} given; export it anew")
    return facets.astype(np.int64)
