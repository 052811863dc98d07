"""Members computed by the workers of a cluster (Dask distributed), or by processes started on this machine as one.

A worker that dies is replaced by the others.
"""

from __future__ import annotations

import logging
import signal
import time
from collections.abc import Collection, Iterator
from concurrent.futures import CancelledError, Future
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING, Any

from ..errors import ArgumentError, WorkersLostError
from ..scenario.wording import as_given
from .pool import Work, Workers, error_words
from .processes import uninterrupted
from .tasks import Done

if TYPE_CHECKING:
    from distributed import Client

CONNECT_S = 10.0
PATIENCE_S = 60.0
"""Without any worker, before it is given up: one that died is started anew within seconds where it has a nanny."""


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


@contextmanager
def opened(workers: int, scheduler: str) -> Iterator[Workers]:
    """Workers of a scheduler, or so many started on this machine."""
    with _silence(), _connected(workers, scheduler) as client:
        yield ClientWorkers(client)


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
            why = f"no scheduler answers there within {CONNECT_S:g} s ({error_words(error)})"
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

    So workers do not die of it while their sweep still wants what they have ready.
    """
    before = uninterrupted()
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


class ClientWorkers(Workers):
    """Those of a cluster, which come and go; what is asked travels to each of them once."""

    def __init__(self, client: Client):
        super().__init__(client.get_executor(pure=False), 0)
        self.client, self.last_worker = client, time.monotonic()
        self.held: Any = None
        self.deaths = (dask_distributed().KilledWorker,)

    def submit(self, work: Work, members: tuple[int, ...]) -> Future[Done]:
        self.held = self.held or self.client.submit(_as_given, work, pure=False)
        return self.executor.submit(_computed, self.held, members)

    def count(self) -> int:
        try:
            threads = sum(self.client.sync(self.client.scheduler.ncores, callback_timeout=CONNECT_S).values())
        except Exception:
            raise _lost() from None
        if threads:
            self.last_worker = time.monotonic()
        elif time.monotonic() - self.last_worker > PATIENCE_S:
            raise WorkersLostError(f"the cluster has had no worker for {PATIENCE_S:g} s")
        return threads

    def failure(self, error: BaseException, members: Collection[int]) -> BaseException:
        if isinstance(error, CancelledError):
            return _lost()
        return ArgumentError(
            "backend", f"a worker cannot compute ({error_words(error)}); see to its packages", "cluster"
        )


def _as_given(work: Work) -> Work:
    """A task of its own, so that the cluster keeps what is asked and can make it anew."""
    return work


def _computed(work: Work, members: tuple[int, ...]) -> Done:
    return work(members)


def _lost() -> WorkersLostError:
    return WorkersLostError("the connection to the cluster's scheduler is lost")
