"""Columns of a table by name, read when they are asked for: what a notebook sees of a large sweep."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from .table import Coded, Values


class Columns(Mapping):
    """Columns by name, read when they are asked for; the last few are remembered.

    read(name): its values.  Texts come as objects.
    """

    _REMEMBERED = 16

    def __init__(self, names: Sequence[str], read: Callable[[str], Values]):
        self._names, self._read = tuple(names), read
        self._last: dict[str, np.ndarray] = {}

    def __getitem__(self, name: str) -> np.ndarray:
        if name not in self._names:
            raise KeyError(name)
        if name not in self._last:
            values = self._read(name)
            self._last[name] = values.texts if isinstance(values, Coded) else values
            for old in list(self._last)[: -self._REMEMBERED]:
                self._last.pop(old, None)
        return self._last[name]

    def __contains__(self, name: object) -> bool:
        return name in self._names

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)
