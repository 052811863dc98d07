"""Members by the batch: how many at once, what a worker is sent, all text and whole numbers, and what it gives."""

from __future__ import annotations

import time
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import chain, islice
from typing import Any

from ..batch.cases import accumulated
from ..batch.summary import SummaryOptions, block_of
from ..sampling.block import Block
from ..sampling.design import Design
from ..sampling.listed import as_text, design_of
from ..sampling.members import Row, in_groups, row_of, to_do
from ..scenario import Scenario
from ..scenario.wording import one_line
from .identity import identity

ONE_THREAD = partial(accumulated, workers=1)
"""Steps in lanes of the thread that asks: others have blocks of their own."""
LARGEST_IN_LANES = 4096


class Batches:
    """Iterate over tuples of members that take about `seconds`, from `smallest` to `largest` of them; again: go on.

    left: how many members there are.  workers: who share them, None where batches are to stay large; towards the end
    they get smaller, so that nobody waits long for the last one.
    """

    def __init__(
        self, members: Iterator[Any], left: int, workers: int | None, seconds: float, smallest: int, largest: int
    ):
        self._members, self.left, self.workers = members, left, workers
        self.seconds, self.smallest, self.largest = seconds, smallest, largest
        self.size = smallest

    def __iter__(self) -> Iterator[tuple]:
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
    def of_rows(cls, design: Design, done: Collection[int], workers: int) -> Batches:
        """Of members that each give a row: a task is long against the milliseconds that sending it costs."""
        members = chain.from_iterable(in_groups(design, done))
        return cls(members, len(design) - len(done), workers, 0.5, 1, 64)

    @classmethod
    def of_blocks(
        cls, design: Design, done: Collection[int], workers: int | None, largest: int = LARGEST_IN_LANES
    ) -> Batches:
        """Of members that give a block: large enough that numbers are worked on and not names."""
        return cls(to_do(design, done), len(design) - len(done), workers, 1.0, 64, largest)


@dataclass(frozen=True)
class Done:
    """What came of some members, and the seconds that took; `refusal` in place of them where a worker is another."""

    parts: tuple[Row | Block, ...] = ()
    seconds: float = 0.0
    refusal: str = ""


@dataclass(frozen=True)
class Asked:
    """A sweep as text: the scenario as `swept` gives it and where it came from, the design; brief: None for full rows.

    identity: what decides the numbers where it was asked, ((name, value), ..); a worker must have the same.
    """

    scenario: str
    place: str
    folder: str
    design: str
    summary: SummaryOptions | None
    identity: tuple[tuple[str, str], ...]

    @classmethod
    def of(cls, base: Scenario, design: Design, summary: SummaryOptions | None = None) -> Asked:
        folder = str(base.folder.resolve())
        return cls(base.text, base.place, folder, as_text(design), summary, tuple(identity(base).items()))

    def __call__(self, members: Sequence[int]) -> Done:
        """Compute some members in this process."""
        begun = time.monotonic()
        base, design, refusal = _built(self)
        if refusal:
            return Done(refusal=refusal)
        if self.summary:
            parts: tuple[Row | Block, ...] = (block_of(base, design, members, self.summary, ONE_THREAD),)
        else:
            parts = tuple(row_of(base, design, k) for k in members)
        return Done(parts, time.monotonic() - begun)


@lru_cache(maxsize=4)
def _built(asked: Asked) -> tuple[Scenario, Design, str]:
    """Scenario and design, kept for the next members, and why this process would not give the same rows."""
    base = Scenario.from_text(asked.scenario, asked.place, asked.folder)
    design = design_of(asked.design)
    try:
        here = identity(base)
    except Exception as error:
        return base, design, one_line(str(error))
    other = [f"{name} ({here[name]}, here {value})" for name, value in asked.identity if here[name] != value]
    return base, design, f"a worker has another state of {', '.join(other)}; install the same" if other else ""
