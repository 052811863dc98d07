"""The rows of a result file as they are stored, for joining and for summaries; and how anything is read from one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from ...errors import InputError
from ...scenario.wording import one_line
from .. import layout
from .table import ROWS, Values, plain_column, read_values


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
        names = read_rows(self.path, lambda file: layout.column_names(layout.group(file, ROWS)))
        if missing := {"member", "status", "reason"}.difference(names):
            raise InputError(self.place, _no_result(f"its rows have no {min(missing)}"))
        return names

    @cached_property
    def members(self) -> np.ndarray:
        """(n,) numbers of the members, ascending."""
        members = plain_column(self.column("member"))
        if len(members) and (members[0] < 0 or (np.diff(members) <= 0).any()):
            raise InputError(self.place, _no_result("its members are not in order"))
        return members

    def column(self, name: str) -> Values:
        """One of its columns."""
        return read_rows(self.path, lambda file: read_values(layout.group(file, ROWS), name))

    def columns(self, names: Sequence[str]) -> dict[str, Values]:
        """Those of some columns that it has."""
        return {name: self.column(name) for name in names if name in self.names}


def read_rows(path: Path, take: Callable[[Any], Any]) -> Any:
    """Something from an HDF5 file.  InputError for whatever else the file is; h5py has many errors for that.

    take: reads through `layout` alone, since anybody may have made the file.
    """
    import h5py

    try:
        with h5py.File(path, "r") as file:
            return take(file)
    except InputError:
        raise
    except (OSError, ValueError, TypeError, RuntimeError, AttributeError, LookupError, MemoryError) as error:
        raise InputError(one_line(str(path)), _no_result(one_line(str(error))[:120])) from None


def _no_result(why: str) -> str:
    return f"this is no whole result file ({why}); name another one or make it anew"
