"""The rows of a result file as they are stored, for joining and for summaries; and how anything is read from one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError
from ..scenario.wording import one_line
from .table import ROWS, Values, read_values


@dataclass(frozen=True)
class StoredRows:
    """The table of a sweep's file, a column at a time; each is checked against its hash when it is read."""

    path: Path

    @property
    def place(self) -> str:
        """How a sentence names it."""
        return one_line(str(self.path))

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Its columns."""
        return tuple(read(self.path, lambda file: file[ROWS].attrs["columns"].split()))

    @cached_property
    def members(self) -> np.ndarray:
        """(n,) numbers of the members, ascending."""
        return self.column("member")

    def column(self, name: str) -> Values:
        """One of its columns."""
        return read(self.path, lambda file: read_values(file[ROWS], name))

    def columns(self, names: Sequence[str]) -> dict[str, Values]:
        """Those of some columns that it has."""
        return {name: self.column(name) for name in names if name in self.names}


def read(path: Path, take: Callable[[Any], Any]) -> Any:
    """Something from an HDF5 file.  InputError for whatever else the file is; h5py has many errors for that."""
    import h5py

    try:
        with h5py.File(path, "r") as file:
            return take(file)
    except (OSError, KeyError, ValueError, TypeError, RuntimeError, AttributeError) as error:
        raise InputError(
            one_line(str(path)),
            f"this is no whole result file ({one_line(str(error))[:120]}); name another one or make it anew",
        ) from None
