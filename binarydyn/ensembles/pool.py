"""What a pool of workers is, anything with `map`, and the one loop that shares members out over it.

Batches of about a second are under way, a few for each worker; what comes back is given on at once.  The members of a
batch whose worker died are computed again one by one, in the end and with nothing beside them: one that ends its worker
even then is a row with status `error`.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from contextlib import AbstractContextManager, suppress
from itertools import chain, islice
from queue import Empty, SimpleQueue
from typing import Any, Protocol

from ..errors import ArgumentError, BinarydynError, WorkersLostError
from ..sampling.block import Block
from ..sampling.design import Design
from ..sampling.members import Row, Stopped, died
from ..scenario.wording import one_line
from .tasks import Batches, Done

Work = Callable[[tuple[int, ...]], Done]
_IN_FLIGHT = 4
"""Batches for each worker: one that it computes, others so that it need not wait for the next."""
_POLL_S = 2.0
_NAMED = 6
"""Members that a sentence names."""


class Pool(Protocol):
    """Workers of somebody's own: of threads, processes, the ranks of an MPI job, a cluster.

    By `map` alone they get a batch each and wait for the last of them; with `submit` too, as executors of
    `concurrent.futures` have it, each gets its next batch as soon as it is free.
    """

    def map(self, work: Callable[[Any], Any], things: Iterable[Any], /) -> Iterable[Any]:
        """work(thing) of each, in their order."""


class Workers:
    """An executor as the loop uses it.  deaths: what a batch ends with whose worker died, where others go on."""

    deaths: tuple[type[BaseException], ...] = ()
    is_left = False

    def __init__(self, executor: Executor, count: int):
        self.executor, self._count = executor, count

    def submit(self, work: Work, members: tuple[int, ...]) -> Future[Done]:
        """Begin some members."""
        return self.executor.submit(work, members)

    def count(self) -> int:
        """How many there are now; WorkersLostError where there will be none any more."""
        return self._count

    def failure(self, error: BaseException, members: Collection[int]) -> BaseException:
        """What to raise where a batch ended so, which is no member's doing; members: what was under way."""
        return error

    def check_left(self) -> None:
        """Stopped where nobody waits for any rows any more, or the whole process is about to end."""
        if self.is_left or not threading.main_thread().is_alive():
            raise Stopped


class Lent(Workers):
    """A pool of the user's own, which is neither replaced nor shut down."""

    def failure(self, error: BaseException, members: Collection[int]) -> BaseException:
        if isinstance(error, BrokenExecutor | CancelledError):
            some = ", ".join(map(str, sorted(members)[:_NAMED])) + (", .." if len(members) > _NAMED else "")
            return WorkersLostError(f"the pool ended with members {some} under way ({error_words(error)})")
        return ArgumentError(
            "backend", f"a worker of the pool cannot compute ({error_words(error)}); see to its packages"
        )


def shared(
    opened: AbstractContextManager[Workers],
    work: Callable[..., Done],
    batches: Batches,
    design: Design,
    here: Work | None = None,
) -> Iterator[Row | Block]:
    """Iterate over the rows or blocks of all batches, in any order.

    The first batch is computed alone, by `here` in this thread where that is given: kernels are compiled, and what
    members share is cached, once.  On KeyboardInterrupt, batches under way are given up, what is ready is still
    yielded, then it goes on up.
    """
    if here:
        for members in islice(batches, 1):
            yield from _parts(here(members), batches, members)
    with opened as workers:
        sharing = _Sharing(workers, work, batches, design)
        if here:
            sharing.look()
        sharing.thread.start()
        try:
            yield from sharing.parts()
        except KeyboardInterrupt:
            yield from sharing.rest()
            raise
        finally:
            for _ in sharing.rest():
                pass


def in_rounds(pool: Pool, work: Work, batches: Batches, count: int) -> Iterator[Row | Block]:
    """The same by `map` alone, a batch for each of `count` workers at a time; the first is computed alone."""
    several = 1
    while members := list(islice(batches, several)):
        for some, done in zip(members, pool.map(work, members), strict=True):
            yield from _parts(done, batches, some)
        several = count


def _parts(done: Done, batches: Batches, members: tuple[int, ...]) -> tuple[Row | Block, ...]:
    """What a batch gave, from which the next ones learn; InputError where who computed it would give other rows."""
    if done.refusal:
        raise ArgumentError("backend", done.refusal)
    batches.learn(len(members), done.seconds)
    return done.parts


class _Sharing:
    """Batches on their way through a pool: some in flight, what has come back, members whose workers died.

    All of that is done by a thread of its own: an interruption comes to the main thread, where it could split a
    library's taking of a lock, which would then stay taken.  The two threads share nothing but two queues, whose
    operations cannot be split.
    """

    def __init__(self, workers: Workers, work: Callable[..., Done], batches: Batches, design: Design):
        self.workers, self.work, self.batches, self.design = workers, work, batches, design
        self.jobs = iter(batches)
        self.flight: dict[Future[Done], tuple[int, ...]] = {}
        self.suspects: deque[int] = deque()
        self.suspected: set[int] = set()
        self.room, self.untaken, self.looked = 1, 0, time.monotonic()
        self.news: SimpleQueue[Future[Done] | None] = SimpleQueue()
        self.ready: SimpleQueue[tuple[Row | Block, ...] | BaseException | None] = SimpleQueue()
        self.is_stopped = False
        self.thread = threading.Thread(target=self._run, name="members", daemon=True)

    def parts(self) -> Iterator[Row | Block]:
        """What comes back, as it comes."""
        while (parts := self.ready.get()) is not None:
            if isinstance(parts, BaseException):
                raise parts
            yield from parts
            self.news.put(None)

    def rest(self) -> Iterator[Row | Block]:
        """Stop, and what had come back by then."""
        self.is_stopped = True
        self.news.put(None)
        self.thread.join()
        while not self.ready.empty():
            if isinstance(parts := self.ready.get(), tuple):
                yield from parts

    def _run(self) -> None:
        """What the thread does; what has come back is given before what ended it."""
        ended_by = None
        try:
            self._share_out()
        except BaseException as error:
            ended_by = error
        for future in self.flight:
            if not future.cancel() and future.done() and not future.exception():
                self.ready.put(future.result().parts)
        if ended_by:
            self.ready.put(ended_by)
        self.ready.put(None)

    def _share_out(self) -> None:
        while not self.is_stopped and self._fill():
            with suppress(Empty):
                if future := self.news.get(timeout=_POLL_S):
                    self._receive(future)
                else:
                    self.untaken -= 1
            if time.monotonic() - self.looked > _POLL_S:
                self.look()

    def _fill(self) -> bool:
        """Send as much as there is room for; whether anything is still to come or to be taken."""
        while len(self.flight) + self.untaken < self.room and (members := self._following()):
            future = self.workers.submit(self.work, members)
            self.flight[future] = members
            future.add_done_callback(self.news.put)
        return bool(self.flight or self.untaken)

    def _following(self) -> tuple[int, ...] | None:
        """The next batch; in the end, when nothing else is under way, one of the suspects."""
        if members := next(self.jobs, None):
            return members
        return (self.suspects.popleft(),) if self.suspects and not self.flight else None

    def _receive(self, future: Future[Done]) -> None:
        members = self.flight.pop(future)
        error = CancelledError() if future.cancelled() else future.exception()
        if isinstance(error, self.workers.deaths):
            self._suspect(members)
        elif isinstance(error, BinarydynError):
            raise error
        elif error:
            raise self.workers.failure(error, [*members, *chain.from_iterable(self.flight.values())])
        else:
            self._give(_parts(future.result(), self.batches, members))
            if self.room == 1:
                self.look()

    def _give(self, parts: tuple[Row | Block, ...]) -> None:
        self.untaken += 1
        self.ready.put(parts)

    def _suspect(self, members: tuple[int, ...]) -> None:
        """A worker died with these members: which of them it is shows when each runs alone."""
        if self.suspected.issuperset(members):
            self._give(tuple(died(self.design, k) for k in members))
        else:
            self.suspected.update(members)
            self.suspects.extend(members)

    def look(self) -> None:
        """See how many workers there are."""
        self.looked = time.monotonic()
        if count := self.workers.count():
            self.room = _IN_FLIGHT * count
            self.batches.workers = self.batches.workers and count


def error_words(error: BaseException) -> str:
    """An error of a library, in a sentence."""
    return one_line(f"{type(error).__name__}: {error}")[:200]
