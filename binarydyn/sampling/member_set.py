"""Some of the members of a design, at a byte each: which are done, which are wanted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set

import numpy as np


class MemberSet(Set):
    """A set of whole numbers 0 .. size - 1 that numpy fills and reads at once: `mask` (size,) says which are in it."""

    def __init__(self, size: int, members: Iterable[int] | np.ndarray = ()):
        self.mask = np.zeros(size, dtype=bool)
        if isinstance(members, MemberSet):
            self.mask[: len(members.mask)] = members.mask
        else:
            self.add(members if isinstance(members, np.ndarray | range) else [k for k in members if k < size])

    def add(self, members: Iterable[int] | np.ndarray) -> None:
        """Take members in."""
        self.mask[np.asarray(members, dtype=np.int64)] = True

    def has(self, members: np.ndarray) -> bool:
        """Whether all of some members are in it."""
        return bool((members < len(self.mask)).all() and self.mask[members].all())

    def __contains__(self, k: object) -> bool:
        return isinstance(k, int | np.integer) and bool(0 <= k < len(self.mask) and self.mask[k])

    def __iter__(self) -> Iterator[int]:
        for first in range(0, len(self.mask), 4096):
            yield from (first + np.flatnonzero(self.mask[first : first + 4096])).tolist()

    def __len__(self) -> int:
        return int(np.count_nonzero(self.mask))

    @classmethod
    def _from_iterable(cls, members: Iterable) -> frozenset:  # type: ignore[override]
        """What `&` and its like give: a set of any size."""
        return frozenset(members)
