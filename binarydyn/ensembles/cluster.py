"""Members computed by the workers of a cluster (Dask distributed), or by processes started on this machine as one.

A task is some whole numbers; what is asked travels to each worker once.  A worker that dies is replaced by the others;
a member that kills its workers is a row with status `error`.
"""

from __future__ import annotations

import logging
import signal
import time
from collections import deque
from collections.abc import Collection, Iterator
from contextlib import ExitStack, contextmanager
from itertools import chain
from multiprocessing import resource_tracker
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Any

from ..batch.summary import BriefOptions
from ..errors import ArgumentError, WorkersLostError
from ..sampling.block import Block
from ..sampling.design import Design
from ..sampling.members import Row, died, in_groups, to_do
from ..scenario import Scenario
from ..scenario.wording import as_given, one_line
from .batches import Batches
from .tasks import Asked, Done, computed

if TYPE_CHECKING:
    from distributed import Client, Future

CONNECT_S = 10.0
PATIENCE_S = 60.0
"""Without any worker, before it is given up: one that died is started anew within seconds where it has a nanny."""
_POLL_S = 2.0
_IN_FLIGHT = 3
"""Tasks for each thread of a worker: one that it does, others so that it need not wait for the next."""


def dask_distributed() -> Any:
    """The library; InputError, one sentence, where it is missing."""
    try:
        import distributed
    except ImportError:
        raise ArgumentError(
            "backend",
            "cluster is given, but Dask distributed is not installed (pip install 'binarydyn[cluster]'); "
            "install it or choose the backend threads",
        ) from None
    return distributed


def computed_by_workers(
    base: Scenario, design: Design, done: Collection[int], workers: int, scheduler: str, brief: BriefOptions | None
) -> Iterator[Row | Block]:
    """All members not in `done`, by workers of `scheduler` or so many on this machine; full rows without `brief`."""
    left = len(design) - len(done)
    if brief:
        batches = Batches.of_blocks(to_do(design, done), left, workers)
    else:
        batches = Batches.of_rows(chain.from_iterable(in_groups(design, done)), left, workers)
    with _silence(), _connected(workers, scheduler) as client:
        yield from _Campaign(client, Asked.of(base, design, brief), batches, design).parts()


@contextmanager
def _connected(workers: int, scheduler: str) -> Iterator[Client]:
    """A client of the scheduler, or of one started here with single-threaded workers and stopped in the end."""
    with ExitStack() as leaving:
        address = scheduler
        if not scheduler:
            with _interruptions_later():
                address = _local_cluster(workers)
                leaving.callback(_closed, address)
        try:
            client = dask_distributed().Client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            why = f"no scheduler answers there within {CONNECT_S:g} s ({_words(error)})"
            place = ("scheduler", as_given(scheduler)) if scheduler else ("backend", "cluster")
            raise ArgumentError(place[0], f"{why}; start one or correct the address", place[1]) from None
        leaving.callback(_closed, client)
        yield client


def _closed(thing: Any) -> None:
    try:
        thing.close(timeout=CONNECT_S)
    except Exception:  # it is gone already
        pass


@contextmanager
def _interruptions_later() -> Iterator[None]:
    """Processes that begin inside never see a Ctrl-C, which a terminal sends to all; this one sees it afterwards.

    So workers do not die of it while their sweep still wants what they have ready.  They inherit the mask from the
    thread that starts them, which inherits it here; the tracker goes first, since its start lifts the mask.
    """
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _silence() -> Iterator[None]:
    """No log lines of the library: what matters of it is said here in one sentence."""
    dask_distributed()
    names = [name for name in logging.root.manager.loggerDict if name.split(".")[0] == "distributed"]
    before = {name: logging.getLogger(name).level for name in names}
    for name in names:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    logging.getLogger("asyncio").addFilter(_is_not_the_librarys)
    try:
        yield
    finally:
        for name, level in before.items():
            logging.getLogger(name).setLevel(level)


def _is_not_the_librarys(record: logging.LogRecord) -> bool:
    """Whether a log line is about something else than results that the library gave up waiting for, at its leisure."""
    kind = record.exc_info and record.exc_info[0]
    return not kind or kind.__module__.split(".")[0] != "distributed"


def _local_cluster(workers: int) -> Any:
    import dask
    from distributed import Nanny, SpecCluster

    from .local_cluster import Scheduler, Worker

    quiet = {"logging.distributed": "critical", "distributed.scheduler.allowed-failures": 1}
    here = {"host": "127.0.0.1", "protocol": "tcp://"}
    silent = {"silence_logs": logging.CRITICAL}
    each = {"cls": Nanny, "options": here | silent | {"nthreads": 1, "memory_limit": 0, "worker_class": Worker}}
    with dask.config.set(quiet):
        return SpecCluster(
            workers=dict.fromkeys(range(workers), each),
            scheduler={"cls": Scheduler, "options": here | {"port": 0, "dashboard": False}},
            worker=each,
            **silent,
        )


class _Campaign:
    """The tasks of one sweep on their way: a bounded number of them in flight, and those that have come back."""

    def __init__(self, client: Client, asked: Asked, batches: Batches, design: Design):
        self.client, self.asked, self.batches, self.design = client, asked, batches, design
        self.jobs = iter(batches)
        self.held = client.submit(_as_given, asked, pure=False)
        self.flight: dict[str, tuple[Future, tuple[int, ...]]] = {}
        self.ready: SimpleQueue[Future] = SimpleQueue()
        self.suspects: deque[int] = deque()
        self.is_trial = False
        self.room = 1  # the first task is done alone: it compiles what a machine has not compiled yet
        self.looked = self.last_worker = time.monotonic()

    def parts(self) -> Iterator[Row | Block]:
        """What comes back; on KeyboardInterrupt first what is ready, then it goes on up."""
        try:
            while self._fill():
                try:
                    future = self.ready.get(timeout=_POLL_S)
                except Empty:
                    self._look()
                    continue
                yield from self._received(future)
                if time.monotonic() - self.looked > _POLL_S:
                    self._look()
        except KeyboardInterrupt:
            yield from self._left_over()
            raise

    def _fill(self) -> bool:
        """Send as much as there is room for; whether anything is under way."""
        while not self.is_trial and len(self.flight) < self.room and (members := next(self.jobs, None)):
            self._send(members)
        if not self.flight and self.suspects:
            self.is_trial = True
            self._send((self.suspects.popleft(),))
        return bool(self.flight)

    def _send(self, members: tuple[int, ...]) -> None:
        future = self.client.submit(computed, self.held, members, pure=False)
        self.flight[future.key] = future, members
        future.add_done_callback(self.ready.put)

    def _received(self, future: Future) -> Iterator[Row | Block]:
        """What a task gave, or what is made of its failure."""
        from distributed import KilledWorker

        members = self.flight.pop(future.key)[1]
        if future.status == "error":
            error = future.exception()
            if not isinstance(error, KilledWorker):
                raise ArgumentError(
                    "backend", f"a worker cannot compute ({_words(error)}); see to its packages", "cluster"
                )
            yield from self._blamed(members)
            return
        try:
            done: Done = future.result(timeout=CONNECT_S)
        except TimeoutError:  # its worker died with the result, which is computed anew
            self.flight[future.key] = future, members
            future.add_done_callback(self.ready.put)
            return
        except Exception:  # cancelled, since the connection broke
            raise _lost() from None
        if done.refusal:
            raise ArgumentError("backend", done.refusal, "cluster")
        self.batches.learn(len(members), done.seconds)
        if self.room == 1:
            self._look()
        yield from done.parts

    def _blamed(self, members: tuple[int, ...]) -> Iterator[Row]:
        """A task was there each time that several workers died: which member it is shows when each runs alone."""
        if not self.is_trial:
            self.suspects.extend(members)
            return
        yield died(self.design, members[0])

    def _look(self) -> None:
        """See how many workers there are; WorkersLostError where nobody is left."""
        self.looked = time.monotonic()
        if self.client.status != "running":
            raise _lost()
        try:
            threads = sum(self.client.sync(self.client.scheduler.ncores, callback_timeout=CONNECT_S).values())
        except Exception:
            raise _lost() from None
        if threads:
            self.last_worker = self.looked
            self.room = _IN_FLIGHT * threads
            self.batches.workers = threads
        elif self.looked - self.last_worker > PATIENCE_S:
            raise WorkersLostError(f"the cluster has had no worker for {PATIENCE_S:g} s")

    def _left_over(self) -> Iterator[Row | Block]:
        """What has come back of the tasks under way when the sweep is left."""
        for future, _ in list(self.flight.values()):
            if future.status == "finished":
                try:
                    yield from future.result(timeout=1.0).parts
                except Exception:  # what cannot be had any more is computed anew
                    return


def _as_given(asked: Asked) -> Asked:
    """A task of its own, so that the cluster keeps what is asked and can make it anew."""
    return asked


def _lost() -> WorkersLostError:
    return WorkersLostError("the connection to the cluster's scheduler is lost")


def _words(error: BaseException | None) -> str:
    return one_line(f"{type(error).__name__}: {error}")[:200]
