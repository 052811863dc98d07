"""A group of named columns in an HDF5 file, as netCDF-4 lays it out, with a hash of its content.

Every dimension has a coordinate of its own name, which HDF5 calls a dimension scale, so that general readers find
the axes.
Numbers, whole numbers, and texts in UTF-8; no compound, opaque or pickled data.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..prediction.outcome import FLAG, NUMBER, TEXT, WHOLE
from ..prediction.outcomes import OUTCOMES, long_name_of
from ..units import unit_of
from . import layout

if TYPE_CHECKING:
    import h5py

UNKNOWN = -1
_TEXTS = frozenset(("reason", "solved_for", "warning", "side", "kind", "body", "extent", "impact", "sunlight"))
_TEXTS |= {"impact_epoch_utc", "impact_seen_utc", "mid_utc", *(f"contact{k}_utc" for k in (1, 2, 3, 4))}
_TEXTS |= {"dip_kind", "dip_mid_utc", "timed", "impulse"}
_WHOLES = frozenset(("member", "axis", "component", "cycle", "number", "steps", "evaluations"))
_KINDS = {name: kind for kind, names in ((TEXT, _TEXTS), (WHOLE, _WHOLES), (FLAG, ("is_even",))) for name in names}
"""Of what is no outcome; the rest are numbers."""
_STORED: dict[Any, tuple[Any, Any]] = {
    TEXT: (np.str_, ""),
    FLAG: (np.int8, UNKNOWN),
    WHOLE: (np.int64, UNKNOWN),
    NUMBER: (np.float64, np.nan),
}
"""Kind -> what holds it, and what stands for an unknown value: of a flag neither no, 0, nor yes, 1."""
_COORDINATES = frozenset(("time_s", "axis", "component", "cycle", "number"))
_TABLES = ("events", "draws", "times", "light")
"""Groups of columns of one length."""
_WIDTHS = {"axis": 3, "component": 4}
_DIMS: dict[str, tuple[str, ...]] = {
    name: ("time_s", "axis") for name in ("position_m", "velocity_m_s", "rate1_rad_s", "rate2_rad_s")
}
_DIMS |= {name: ("time_s", "component") for name in ("attitude1", "attitude2")}
_DIMS |= {"single_orbit_periods_s": ("cycle",), "warning": ("number",)}
_DIMS |= {name: ("axis",) for name in ("inertia_kg_m2", "enclosing_axes_m")}


@dataclass(frozen=True)
class Column:
    """An array with the names of its dimensions; one that is named as its only dimension is that axis' coordinate."""

    dims: tuple[str, ...]
    values: np.ndarray

    @classmethod
    def of(cls, name: str, values: Any, *dims: str) -> Column:
        """From plain values, None for what is unknown, with the kind that the name stands for."""
        dtype, unknown = _STORED[kind_of(name)]
        return cls(dims, _known(values, unknown, dtype))

    @property
    def plain(self) -> float | int | str | bool | None:
        """The value of a column without dimensions, as it was before `of`, but for the kind of a flag.

        ValueError for a column with dimensions.
        """
        if self.values.shape:
            raise ValueError("a table of single values has a column of many")
        value = self.values[()].item()
        return None if value != value else value


def _known(values: Any, unknown: float | str, dtype: type) -> np.ndarray:
    if values is None:
        values = unknown
    elif isinstance(values, list):
        values = [unknown if value is None else value for value in values]
    return np.asarray(values, dtype=dtype)


def digest(columns: Mapping[str, Column]) -> str:
    """SHA-256 of names, dimensions, kinds and every bit of the values."""
    total = hashlib.sha256()
    for name, column in columns.items():
        values = column.values
        text = values.dtype.kind == "U"
        total.update(repr((name, column.dims, "text" if text else values.dtype.str, values.shape)).encode())
        total.update(repr(values.tolist()).encode() if text else np.ascontiguousarray(values).tobytes())
    return total.hexdigest()


def write_group(parent: h5py.Group, name: str, columns: Mapping[str, Column]) -> None:
    """Write columns as a new group; every dimension must have its coordinate among them."""
    group = parent.create_group(name)
    coordinates = [key for key, column in columns.items() if column.dims == (key,)]
    for key in (*coordinates, *(key for key in columns if key not in coordinates)):
        _write(group, key, columns[key])
    group.attrs["columns"] = " ".join(columns)
    group.attrs["content_sha256"] = digest(columns)


def _write(group: h5py.Group, name: str, column: Column) -> None:
    import h5py

    if column.values.dtype.kind == "U":
        dataset = group.create_dataset(name, data=column.values.astype(object), dtype=h5py.string_dtype())
    else:
        dataset = group.create_dataset(name, data=column.values)
    write_unit(dataset, name)
    if column.dims == (name,):
        dataset.make_scale(name)
        return
    for place, dim in enumerate(column.dims):
        dataset.dims[place].attach_scale(group[dim])


def write_unit(dataset: h5py.Dataset, name: str) -> None:
    """Unit, name in words and, of a flag, what its values mean (CF conventions 1.11, section 3.5)."""
    dataset.attrs["units"] = unit_of(name)
    dataset.attrs["long_name"] = long_name_of(name)
    if kind_of(name) == FLAG:
        dataset.attrs["flag_values"] = np.array([UNKNOWN, 0, 1], dtype=np.int8)
        dataset.attrs["flag_meanings"] = "unknown no yes"


def kind_of(name: str) -> str:
    """TEXT, FLAG, WHOLE or NUMBER."""
    return OUTCOMES[name].kind if name in OUTCOMES else _KINDS.get(name, NUMBER)


def dtype_of(name: str) -> np.dtype | None:
    """What a column of that name holds in a file; None for texts."""
    kind = kind_of(name)
    return None if kind == TEXT else np.dtype(_STORED[kind][0]).newbyteorder("<")


def read_group(parent: h5py.Group, name: str) -> dict[str, Column]:
    """The columns of a group.  ValueError where the content is not what was written."""
    group = layout.group(parent, name)
    columns = {key: _read(group, key, _dims(name, key)) for key in layout.column_names(group)}
    if digest(columns) != layout.text(group, "content_sha256"):
        raise ValueError(f"the content of {name} is not what was written")
    lengths = {key: column.values.size for key, column in columns.items() if column.dims == (key,)}
    lengths |= {dim: size for dim, size in _WIDTHS.items() if dim in lengths}
    for key, column in columns.items():
        if column.values.shape != tuple(lengths.get(dim) for dim in column.dims):
            raise ValueError(f"{name}/{key} has another shape than its axes")
    return columns


def _dims(group: str, name: str) -> tuple[str, ...]:
    """The dimensions of a column.  Not from the file, whose references may lead anywhere."""
    if group in _TABLES:
        return ("number",)
    return (name,) if group == "design" or name in _COORDINATES else _DIMS.get(name, ())


def _read(group: h5py.Group, name: str, dims: tuple[str, ...]) -> Column:
    kind = dtype_of(name)
    dataset = layout.dataset(group, name, kind)
    values = np.asarray(dataset.asstr()[()], dtype=np.str_) if kind is None else layout.read_numbers(dataset, name)
    return Column(dims, values)
