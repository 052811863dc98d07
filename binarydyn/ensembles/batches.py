"""Members by the batch: as many at once as take a certain time, which the batches that are done tell."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice


class Batches:
    """Iterate over tuples of members that take about `seconds`, from `smallest` to `largest` of them.

    left: how many members there are.  workers: who share them, None where batches are to stay large; towards the end
    they get smaller, so that nobody waits long for the last one.
    """

    def __init__(
        self, members: Iterator[int], left: int, workers: int | None, seconds: float, smallest: int, largest: int
    ):
        self._members, self.left, self.workers = members, left, workers
        self.seconds, self.smallest, self.largest = seconds, smallest, largest
        self.size = smallest

    def __iter__(self) -> Iterator[tuple[int, ...]]:
        while batch := tuple(islice(self._members, self._next_size())):
            self.left -= len(batch)
            yield batch

    def _next_size(self) -> int:
        if self.workers is None:
            return self.size
        return max(self.smallest, min(self.size, self.left // (2 * self.workers)))

    def learn(self, count: int, seconds: float) -> None:
        """A batch of `count` members took so long; the next ones are at most twice as large."""
        fitting = int(self.seconds * count / max(seconds, 1e-6))
        self.size = max(self.smallest, min(fitting, 2 * count, self.largest))

    @classmethod
    def of_rows(cls, members: Iterator[int], left: int, workers: int) -> Batches:
        """Of members that each give a row: a task is long against the milliseconds that sending it costs."""
        return cls(members, left, workers, 0.5, 1, 64)

    @classmethod
    def of_blocks(cls, members: Iterator[int], left: int, workers: int | None, largest: int = 4096) -> Batches:
        """Of members that give a block: large enough that numbers are worked on and not names."""
        return cls(members, left, workers, 1.0, 64, largest)
