"""Members by the batch: as many at once as take a certain time, which the batches that are done tell."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice


class Batches:
    """Iterate over tuples of members that take about `seconds`, from `smallest` to `largest` of them."""

    def __init__(self, members: Iterator[int], seconds: float, smallest: int, largest: int):
        self._members, self.seconds, self.smallest, self.largest = members, seconds, smallest, largest
        self.size = smallest

    def __iter__(self) -> Iterator[tuple[int, ...]]:
        while batch := tuple(islice(self._members, self.size)):
            yield batch

    def learn(self, count: int, seconds: float) -> None:
        """A batch of `count` members took so long; the next ones are at most twice as large."""
        fitting = int(self.seconds * count / max(seconds, 1e-6))
        self.size = max(self.smallest, min(fitting, 2 * count, self.largest))

    @classmethod
    def of_rows(cls, members: Iterator[int]) -> Batches:
        """Of members that each give a row: a task is long against the milliseconds that sending it costs."""
        return cls(members, 0.5, 1, 64)

    @classmethod
    def of_blocks(cls, members: Iterator[int], smallest: int = 64, largest: int = 4096) -> Batches:
        """Of members that give a block: large enough that numbers are worked on and not names."""
        return cls(members, 1.0, smallest, largest)
