"""Processes of this machine as workers: half of a row's work is Python, for which threads wait for each other.

Each is the only one of its executor and has a thread that feeds it: so what dies with it is known, and nothing else.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator, Mapping, MutableMapping
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import parent_process, resource_tracker
from multiprocessing.context import SpawnContext, SpawnProcess
from types import ModuleType
from typing import Any

from ..kinds import sure
from .pool import Work, Workers
from .tasks import Done

_STARTING = threading.Lock()
_work: Work
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


class _Process(SpawnProcess):
    """One that does not run the script again that asks for it, which so needs no guard, and gets a core's threads."""

    def start(self) -> None:
        """Begin."""
        with _for_now(sys.modules, {"__main__": ModuleType("__main__")}), _for_now(os.environ, _ONE_THREAD):
            super().start()


@contextmanager
def _for_now(place: MutableMapping[str, Any], values: Mapping[str, Any]) -> Iterator[None]:
    before = {name: place[name] for name in values if name in place}
    place.update(values)
    try:
        yield
    finally:
        for name in values:
            place.pop(name)
        place.update(before)


class _Starting(SpawnContext):
    """How an executor starts its process; `started` are kept, to be ended at once."""

    def __init__(self, started: list[_Process]):
        self.started = started

    def Process(self, *given: Any, **named: Any) -> _Process:  # type: ignore[override]
        """Not begun yet."""
        self.started.append(_Process(*given, **named))
        return self.started[-1]


class _Processes(Workers):
    """A process for each thread of an executor."""

    deaths = (BrokenProcessPool,)

    def __init__(self, executor: ThreadPoolExecutor, count: int):
        super().__init__(executor, count)
        self.started: list[_Process] = []
        self._own = threading.local()

    def submit(self, work: Work, members: tuple[int, ...]) -> Future[Done]:
        return self.executor.submit(self._computed, work, members)

    def _computed(self, work: Work, members: tuple[int, ...]) -> Done:
        """By the process of this thread."""
        try:
            return self._begun(work, members).result()
        except BrokenProcessPool:
            del self._own.executor
            raise

    def _begun(self, work: Work, members: tuple[int, ...]) -> Future[Done]:
        with _STARTING:
            self.check_left()
            if not hasattr(self._own, "executor"):
                how = _Starting(self.started)
                self._own.executor = ProcessPoolExecutor(1, how, initializer=_begin, initargs=(work,))
            return self._own.executor.submit(_by_this_process, members)

    def end(self) -> None:
        """All of them, at once; nothing of them is wanted any more."""
        with _STARTING:
            self.is_left = True
        for process in self.started:
            process.kill()
            process.join()


@contextmanager
def opened(workers: int) -> Iterator[Workers]:
    """So many processes; they end at once when they are left, or when this process ends, however that may be."""
    with ThreadPoolExecutor(workers, "member", uninterrupted) as executor:
        processes = _Processes(executor, workers)
        try:
            yield processes
        finally:
            processes.end()
            executor.shutdown(cancel_futures=True)


def uninterrupted() -> set:
    """Processes that this thread starts never see a Ctrl-C, whose mask they inherit from it; the mask before."""
    resource_tracker.ensure_running()  # whose start lifts the mask
    return signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})


def _begin(work: Work) -> None:
    """What a process does first: keep what is asked, and watch whether anybody is left to ask."""
    global _work
    os.setsid()  # what a terminal or a shell sends to the group of who asks is for that one, which keeps the rows
    _work = work
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    sure(parent_process()).join()
    os._exit(1)


def _by_this_process(members: tuple[int, ...]) -> Done:
    return _work(members)
