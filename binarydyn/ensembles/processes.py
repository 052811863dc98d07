"""Full rows by processes of this machine, each fed by a thread: half of a row's work is Python, which threads share.

A process is started as a plain command, so that a script that calls `sweep` needs no guard; it ends when its pipe does,
which is when this process ends, however that may be.
"""

from __future__ import annotations

import os
import pickle
import select
import subprocess
import sys
import threading
import time
from collections import Counter, deque
from collections.abc import Collection, Iterator
from itertools import chain
from pathlib import Path

from ..errors import ArgumentError
from ..sampling.design import Design
from ..sampling.members import Row, died, in_groups
from ..scenario import Scenario
from .batches import Batches
from .tasks import Asked, Done, computed
from .threads import Watch, spread

_POLL_S = 0.2
_DEATHS = 2
"""Of processes that computed a member alone, before it is a row with status `error`."""


def full(base: Scenario, design: Design, done: Collection[int], workers: int) -> Iterator[Row]:
    """Rows with the full table of all members not in `done`."""
    batches = Batches.of_rows(chain.from_iterable(in_groups(design, done)), len(design) - len(done), workers)
    crew = _Helpers(Asked.of(base, design))

    def work(members: tuple[int, ...], watch: Watch) -> list[Row]:
        if threading.current_thread() is threading.main_thread():
            return list(computed(crew.asked, members).parts)  # the first, alone: kernels are compiled once
        begun, rows = time.monotonic(), _rows(crew, design, members, watch)
        batches.learn(len(members), time.monotonic() - begun)
        return rows

    try:
        for rows in spread(iter(batches), work, workers):
            yield from rows
    finally:
        crew.stop()


def _rows(crew: _Helpers, design: Design, members: tuple[int, ...], watch: Watch) -> list[Row]:
    """Of some members; where their process dies, of each alone."""
    rows, deaths, left = [], Counter(), deque([members])
    while left:
        some = left.popleft()
        try:
            done = crew.own().computed(some, watch)
        except EOFError:
            crew.drop()
            if len(some) > 1:
                left.extend((k,) for k in some)
                continue
            deaths.update(some)
            if deaths[some[0]] < _DEATHS:
                left.append(some)
            else:
                rows.append(died(design, some[0]))
            continue
        if done.refusal:
            raise ArgumentError("backend", f"the package changed while it was running: {done.refusal}", "threads")
        rows += done.parts
    return rows


class _Helpers:
    """A process for each thread that asks for one."""

    def __init__(self, asked: Asked):
        self.asked = asked
        self._here = threading.local()
        self._all: list[_Helper] = []

    def own(self) -> _Helper:
        """This thread's."""
        if not hasattr(self._here, "helper"):
            self._here.helper = _Helper(self.asked)
            self._all.append(self._here.helper)
        return self._here.helper

    def drop(self) -> None:
        """This thread's process is dead; the next is another."""
        self._here.helper.stop()
        del self._here.helper

    def stop(self) -> None:
        """End all of them."""
        for helper in self._all:
            helper.stop()


class _Helper:
    """A process that computes members; what is asked goes first through its pipe, then the members, rows come back."""

    def __init__(self, asked: Asked):
        threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        path = os.pathsep.join([str(Path(__file__).parents[2]), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from binarydyn.ensembles.processes import serve; serve()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=os.environ | threads | {"PYTHONPATH": path},
            start_new_session=True,  # a Ctrl-C at the terminal is for the process that keeps the rows
        )
        self._send(asked)

    def computed(self, members: tuple[int, ...], watch: Watch) -> Done:
        """Compute some members.  EOFError where the process ended; `watch` may raise Stopped meanwhile."""
        self._send(members)
        while not select.select([self.process.stdout], [], [], _POLL_S)[0]:
            watch("in its process", 0.0)
        try:
            return pickle.load(self.process.stdout)
        except (pickle.UnpicklingError, OSError):
            raise EOFError from None

    def _send(self, thing: object) -> None:
        try:
            pickle.dump(thing, self.process.stdin)
            self.process.stdin.flush()
        except OSError:
            pass  # it is dead, which reading from it tells

    def stop(self) -> None:
        """End it at once; nothing of it is wanted any more."""
        self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            try:
                pipe.close()
            except OSError:
                pass


def serve() -> None:
    """What a helper does: answer through the pipe that was its output, until the other one ends."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # whatever prints does not get into the answers
    try:
        asked = pickle.load(sys.stdin.buffer)
        while True:
            pickle.dump(computed(asked, pickle.load(sys.stdin.buffer)), answers)
            answers.flush()
    except (EOFError, BrokenPipeError):
        pass
