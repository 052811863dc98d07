"""Work shared out over the cores of this machine: threads take jobs and give what comes of them.

Threads, since kernels release the interpreter.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from itertools import islice
from queue import SimpleQueue
from typing import Any

from ..batch.summary import BriefOptions, Stepper, block_of
from ..sampling.block import Block
from ..sampling.design import Design
from ..sampling.members import Row, Stopped, in_groups, row_of, to_do
from ..scenario import Scenario
from .batches import Batches

Watch = Callable[[str, float], None]
"""Told the stage and its share; raises Stopped once nobody waits for the result any more."""
Work = Callable[[Any, Watch], "Row | Block"]
_IN_FLIGHT = 4
LARGEST_IN_LANES = 4096


def spread(jobs: Iterator[Any], work: Work, workers: int) -> Iterator[Row | Block]:
    """Iterate over work(job, watch) for all jobs, in any order; the first is done alone.

    On KeyboardInterrupt, jobs under way are given up, what is ready is still yielded, then it goes on up.
    """
    crew = _Crew(work)
    for job in islice(jobs, 1):
        # Alone in this thread: kernels are compiled, and the run before the impact is cached, once.
        yield work(job, crew.watch)
    try:
        waiting = 0
        for job in islice(jobs, _IN_FLIGHT * workers):
            waiting += 1
            crew.todo.put(job)
            if crew.size < workers:
                crew.hire()
        while waiting:
            part = crew.ready.get()
            if isinstance(part, BaseException):
                raise part
            following = next(jobs, None)
            if following is not None:
                crew.todo.put(following)
            else:
                waiting -= 1
            yield part
    except KeyboardInterrupt:
        yield from crew.dismissed()
        raise
    finally:
        for _ in crew.dismissed():
            pass


class _Crew:
    """Threads that take jobs from one queue and put what comes of them into another, until they are dismissed.

    The thread that hands out the work uses nothing but these two queues, whose operations an interruption cannot split:
    one that comes while a lock is being taken would leave it taken, and everybody waiting.
    """

    def __init__(self, work: Work):
        self.work = work
        self.todo: SimpleQueue[Any] = SimpleQueue()
        self.ready: SimpleQueue[Row | Block | BaseException | None] = SimpleQueue()
        self.size = 0
        self.is_stopped = False

    def watch(self, stage: str, share: float) -> None:
        """Raise Stopped once the crew is dismissed."""
        if self.is_stopped:
            raise Stopped

    def hire(self) -> None:
        """One thread more; it cannot keep the process alive."""
        self.size += 1
        threading.Thread(target=self._work, name=f"member-{self.size}", daemon=True).start()

    def _work(self) -> None:
        try:
            while (job := self.todo.get()) is not None and not self.is_stopped:
                self.ready.put(self.work(job, self.watch))
        except Stopped:
            pass
        except BaseException as error:  # of the program, not of a member: whoever waits has to hear of it
            self.ready.put(error)
        finally:
            self.ready.put(None)

    def dismissed(self) -> Iterator[Row | Block]:
        """Stop all threads and yield what they had ready; over once the last one is gone."""
        self.is_stopped = True
        for _ in range(self.size):
            self.todo.put(None)
        while self.size:
            part = self.ready.get()
            if part is None:
                self.size -= 1
            elif not isinstance(part, BaseException):
                yield part


@dataclass
class _Gate:
    """Members that share all that comes before the impact: the first works it out, the others wait for the cache."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    is_open: bool = False


def full(base: Scenario, design: Design, done: Collection[int], workers: int) -> Iterator[Row]:
    """Rows with the full table of all members not in `done`."""
    jobs = ((k, gate) for members in in_groups(design, done) for gate in [_Gate()] for k in members)

    def work(job: tuple[int, _Gate], watch: Watch) -> Row:
        k, gate = job
        if not gate.is_open:
            with gate.lock:
                if not gate.is_open:
                    row = row_of(base, design, k, watch)
                    gate.is_open = True
                    return row
        return row_of(base, design, k, watch)

    return spread(jobs, work, workers)


def brief(
    base: Scenario,
    design: Design,
    done: Collection[int],
    workers: int,
    how: BriefOptions,
    stepper: Stepper,
    largest: int = LARGEST_IN_LANES,
) -> Iterator[Block]:
    """The brief table of all members not in `done`, by the block of at most `largest`.

    stepper: lanes of one thread, or a GPU's, which is not full below 30 000.
    """
    sharing = workers if largest == LARGEST_IN_LANES else None  # many small blocks would leave a GPU empty
    batches = Batches.of_blocks(to_do(design, done), len(design) - len(done), sharing, largest)

    def work(members: tuple[int, ...], watch: Watch) -> Block:
        begun = time.monotonic()
        block = block_of(base, design, members, how, stepper)
        batches.learn(len(members), time.monotonic() - begun)
        return block

    return spread(iter(batches), work, workers)
