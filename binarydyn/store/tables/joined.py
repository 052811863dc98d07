"""Rows of several sources as one table in the order of members, a few columns at a time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ...errors import InputError
from ...sampling import Design, MemberSet
from .rows import names_in_order
from .table import (
    PIECE,
    ROWS,
    Coded,
    Source,
    Values,
    Written,
    close_table,
    coded,
    dtype_of,
    unknown_column,
    write_values,
)

if TYPE_CHECKING:
    import h5py

_AT_ONCE = 1 << 26
"""Bytes of the columns that are joined together."""
_ROOM = 1 << 14
"""Bytes that a column needs besides its values, many times over."""


class Joined:
    """The rows of sources; a member that is in several must have the same bits in all of them."""

    def __init__(self, design: Design, sources: Sequence[Source]):
        self.design, self.sources = design, [source for source in sources if len(source.members)]
        self.held = MemberSet(len(design))
        for source in self.sources:
            self.held.add(source.members)
        self.members = np.flatnonzero(self.held.mask)
        self._places = np.cumsum(self.held.mask, dtype=np.int64) - 1
        self._is_apart = sum(len(source.members) for source in self.sources) == len(self.members)
        listed = [[n for n in source.names if n not in ("member", *design.keys)] for source in self.sources]
        self.names = names_in_order(listed)

    @property
    def room(self) -> int:
        """Bytes that suffice for the file."""
        reasons = [coded(source.columns(("reason",))["reason"]).words for source in self.sources]
        texts = sum(len(word) for words in reasons for word in words) + 64 * sum(len(s.members) for s in self.sources)
        columns = len(self.names) + len(self.design.keys) + 1
        return 8 * columns * len(self.members) + columns * _ROOM + 6 * texts + (1 << 21)

    def write(self, parent: h5py.Group) -> None:
        """Write the table as a group.  InputError where sources contradict each other."""
        group, count = parent.create_group(ROWS), len(self.members)
        digests = {"member": write_values(group, "member", self.members)} | self._write_inputs(group)
        step = max(1, _AT_ONCE // (8 * count))
        for first in range(0, len(self.names), step):
            for name, values in self._columns(self.names[first : first + step]).items():
                digests[name] = write_values(group, name, values)
        close_table(group, digests)

    def _write_inputs(self, group: h5py.Group) -> dict[str, str]:
        """What members vary, by pieces."""
        columns = {key: Written(group, key, len(self.members), np.dtype("<f8")) for key in self.design.keys}
        for first in range(0, len(self.members), PIECE):
            for key, values in self.design.inputs(self.members[first : first + PIECE]).items():
                columns[key].add(values)
        return {key: column.close() for key, column in columns.items()}

    def _columns(self, names: Sequence[str]) -> dict[str, Values]:
        count = len(self.members)
        table = {name: unknown_column(name, count) for name in names}
        words: dict[str, dict[str, int]] = {name: {"": -1} for name in names if dtype_of(name) is None}
        arrays = {name: values.codes if isinstance(values, Coded) else values for name, values in table.items()}
        seen = None if self._is_apart else np.zeros(count, dtype=bool)
        for source in self.sources:
            places, found = self._places[source.members], source.columns(names)
            for name in names:
                values = found.get(name)
                values = unknown_column(name, len(places)) if values is None else values
                new = _coded_anew(values, words[name]) if isinstance(values, Coded) else values
                if seen is not None:
                    self._check(source, name, places, arrays[name], new, seen)
                arrays[name][places] = new
            if seen is not None:
                seen[places] = True
        return {n: Coded(tuple(words[n])[1:], array) if n in words else array for n, array in arrays.items()}

    def _check(self, source: Source, name: str, places: np.ndarray, old: np.ndarray, new: np.ndarray, seen) -> None:
        """InputError where a row that was there before has another value now."""
        there = seen[places]
        a, b = old[places[there]], new[there]
        differs = (a.view(f"i{a.itemsize}") != b.view(f"i{b.itemsize}")) & ~((a != a) & (b != b))
        if differs.any():
            member = int(source.members[there][np.argmax(differs)])
            other = next(s for s in self.sources if member in s.members)
            raise InputError(
                source.place,
                f"member {member} has another {name} than in {other.place}, allowed are the same bits; find out which "
                "of them is wrong and leave it out",
            )


def _coded_anew(values: Coded, words: dict[str, int]) -> np.ndarray:
    """Codes into words that are shared, which grow."""
    codes = [words.setdefault(word, len(words) - 1) for word in values.words]
    return np.array([*codes, -1], dtype=np.int32)[values.codes]
