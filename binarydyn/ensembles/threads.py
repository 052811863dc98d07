"""Threads of this machine as workers: kernels release the interpreter."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Collection, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from ..batch.summary import Stepper, SummaryOptions, block_of
from ..sampling.block import Block
from ..sampling.design import Design
from ..sampling.members import Row, in_groups, row_of
from ..scenario import Scenario
from .pool import Workers, shared
from .tasks import LARGEST_IN_LANES, Batches, Done

Watch = Callable[[str, float], None]
"""Told the stage and its share; raises Stopped once nobody waits for the result any more."""


class _Threads(Workers):
    """They watch whether anybody still waits for them."""

    def submit(self, work: Callable[..., Done], members: tuple) -> Future[Done]:
        return self.executor.submit(work, members, lambda stage, share: self.check_left())


@contextmanager
def _opened(workers: int) -> Iterator[Workers]:
    with ThreadPoolExecutor(workers, "member") as executor:
        threads = _Threads(executor, workers)
        try:
            yield threads
        finally:
            threads.is_left = True
            executor.shutdown(cancel_futures=True)


def _shared(workers: int, work: Callable[[Any, Watch], Done], batches: Batches, design: Design) -> Iterator[Any]:
    return shared(
        _opened(workers), work, batches, design, here=lambda members: work(members, lambda stage, share: None)
    )


@dataclass
class _Gate:
    """Members that share all that comes before the impact: the first works it out, the others wait for the cache."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    is_open: bool = False

    def passed(self, row: Callable[[], Row]) -> Row:
        """The row of one of them."""
        if not self.is_open:
            with self.lock:
                if not self.is_open:
                    found = row()
                    self.is_open = True
                    return found
        return row()


def full(base: Scenario, design: Design, done: Collection[int], workers: int) -> Iterator[Row]:
    """Rows with the full table of all members not in `done`, one by one."""

    def work(jobs: tuple[tuple[int, _Gate]], watch: Watch) -> Done:
        ((k, gate),) = jobs
        return Done((gate.passed(lambda: row_of(base, design, k, watch)),))

    jobs = ((k, gate) for members in in_groups(design, done) for gate in [_Gate()] for k in members)
    batches = Batches(jobs, len(design) - len(done), workers, 0.0, 1, 1)
    return _shared(workers, work, batches, design)


def summary(
    base: Scenario,
    design: Design,
    done: Collection[int],
    workers: int,
    how: SummaryOptions,
    stepper: Stepper,
    largest: int = LARGEST_IN_LANES,
) -> Iterator[Block]:
    """The summary table of all members not in `done`, by the block of at most `largest`.

    stepper: lanes of one thread, or a GPU's, which is not full below 30 000.
    """

    def work(members: tuple[int, ...], watch: Watch) -> Done:
        begun = time.monotonic()
        return Done((block_of(base, design, members, how, stepper),), time.monotonic() - begun)

    sharing = workers if largest == LARGEST_IN_LANES else None  # many small blocks would leave a GPU empty
    batches = Batches.of_blocks(design, done, sharing, largest)
    return _shared(workers, work, batches, design)
