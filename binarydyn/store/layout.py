"""How a result file is read, which anybody may have made: what the layout says is read, and nothing else of it.

A seal says that a file is whole, not who made it.  So no link is followed (an external one may name a pipe, which never
answers), nothing is read that lies outside the file, compressed or in pieces, and nothing that is larger than the file:
what is declared costs nothing to write.  Every error is a ValueError, or one of those that h5py has.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import h5py

_COLUMN = re.compile(r"[A-Za-z0-9_.]{1,120}")
_MOST_COLUMNS = 10_000
LARGEST = 1e150
"""Of numbers that a file may hold; sums of squares of larger ones overflow."""
_REFERENCE = np.dtype([("length", "<u4"), ("address", "<u8"), ("index", "<u4")])
"""How a text of any length stands in a dataset (HDF5 file format specification 3.0, section IV.B); 16 bytes."""


def attribute(thing: h5py.Group | h5py.Dataset, name: str) -> str | int:
    """One text or whole number.  ValueError where it is missing or of another kind."""
    import h5py

    if not h5py.h5a.exists(thing.id, name.encode()):
        raise ValueError(f"its attribute {name} is missing")
    if h5py.h5a.open(thing.id, name.encode()).shape == ():
        value = thing.attrs[name]
        if isinstance(value, str):
            return value
        if isinstance(value, np.integer):
            return int(value)
    raise ValueError(f"its attribute {name} is neither a text nor a whole number")


def text(thing: h5py.Group | h5py.Dataset, name: str) -> str:
    """An attribute that is a text."""
    value = attribute(thing, name)
    if not isinstance(value, str):
        raise ValueError(f"its attribute {name} is no text")
    return value


def read_attributes(thing: h5py.Group, names: Iterable[str]) -> dict[str, str | int]:
    """Those of some attributes that it has."""
    import h5py

    return {name: attribute(thing, name) for name in names if h5py.h5a.exists(thing.id, name.encode())}


def column_names(group: h5py.Group) -> tuple[str, ...]:
    """Which columns a group says that it has."""
    names = tuple(text(group, "columns").split())
    if len(names) > _MOST_COLUMNS or len(set(names)) < len(names):
        raise ValueError("its names of columns are too many or not different")
    if strange := next((name for name in names if not _COLUMN.fullmatch(name)), None):
        raise ValueError(f"it has a column that is named {strange[:40]!r}")
    return names


def has(parent: h5py.Group, name: str) -> bool:
    """Whether there is something of that name; a link to elsewhere is nothing."""
    import h5py

    return isinstance(parent.get(name, getlink=True), h5py.HardLink)


def group(parent: h5py.Group, name: str) -> h5py.Group:
    """A group that lies in this one."""
    return child(parent, name, "Group")


def dataset(parent: h5py.Group, name: str, kind: np.dtype | None) -> h5py.Dataset:
    """A dataset that lies whole in this file, of one kind of numbers; None: of texts."""
    import h5py

    found = child(parent, name, "Dataset")
    if found.shape is None or found.ndim > 2:
        raise ValueError(f"{name} has neither a value nor rows")
    texts = h5py.check_string_dtype(found.dtype)
    is_right = texts is not None and texts.length is None if kind is None else _same(found.dtype, kind)
    if not is_right:
        raise ValueError(f"{name} has values of another kind")
    plan = found.id.get_create_plist()
    if plan.get_layout() != h5py.h5d.CONTIGUOUS or plan.get_external_count():
        raise ValueError(f"{name} does not lie in the file as it was written")
    bytes_ = math.prod(found.shape) * (_REFERENCE.itemsize if kind is None else found.dtype.itemsize)
    if bytes_ and (bytes_ != found.id.get_storage_size() or _end(found) > found.file.id.get_filesize()):
        raise ValueError(f"{name} is said to be larger than the file")
    if kind is None:
        _check_lengths(found, name)
    return found


def read_numbers(found: h5py.Dataset, name: str) -> np.ndarray:
    """The values of a dataset of numbers.  ValueError for one whose square is none, as nothing computed is."""
    values = np.asarray(found[()])
    if values.dtype.kind == "f" and np.any(np.isfinite(values) & (np.abs(values) > LARGEST)):
        raise ValueError(f"{name} holds numbers beyond {LARGEST:g}")
    return values


def child(parent: h5py.Group, name: str, kind: str) -> Any:
    """What lies in a group under a name, a `Group` or a `Dataset`; through no link."""
    import h5py

    if "/" in name or name == "." or not has(parent, name):
        raise ValueError(f"there is no {name} in it")
    found = parent[name]
    if not isinstance(found, getattr(h5py, kind)):
        raise ValueError(f"{name} is no {kind.lower()}")
    return found


def _same(one: np.dtype, other: np.dtype) -> bool:
    return one.kind == other.kind and one.itemsize == other.itemsize and one.isnative == other.isnative


def _end(found: h5py.Dataset) -> int:
    """Where a dataset ends in the file; beyond every file for one that was declared and never written."""
    first = found.id.get_offset()
    return 1 << 64 if first is None else first + found.id.get_storage_size()


def _check_lengths(found: h5py.Dataset, name: str) -> None:
    """ValueError where texts together are longer than the file: many may be one and the same text in it."""
    count = math.prod(found.shape)
    if not count:
        return
    with open(found.file.filename, "rb") as stream:
        stream.seek(found.id.get_offset())
        held = np.fromfile(stream, _REFERENCE, count)
    if len(held) < count or int(held["length"].sum(dtype=np.uint64)) > found.file.id.get_filesize():
        raise ValueError(f"the texts of {name} are said to be longer than the file")
