"""Runs command lines one after another in worker processes, and says what each did wrong.

A case is a function of (kind, number, seed): it fills a folder and names the words of a command line.  A worker runs
it through `main` in its own process, as a user would; the parent ends a worker whose case takes far too long.
"""

from __future__ import annotations

import contextlib
import faulthandler
import io
import math
import multiprocessing
import os
import re
import resource
import shutil
import signal
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path

LIMIT_S = 10.0
"""Processor time of one command line.  Work that was asked for is interrupted after it, which must end with 130."""
KILL_S = 45.0
MEMORY_BYTES = 12 << 30
QUIET = re.compile(r"^(compiling kernels once|sweep: |sample: |running |warning: block)")
"""Lines on stderr that are no errors: how far it is."""


@dataclass
class Told:
    """What one case did: its exit code, and what is wrong with that, if anything."""

    kind: str
    number: int
    words: list[str]
    code: int | str
    wrong: str = ""
    detail: str = ""
    cpu_s: float = 0.0


@dataclass
class Tally:
    """What all cases of a kind did."""

    codes: Counter = field(default_factory=Counter)
    wrong: list[Told] = field(default_factory=list)
    slowest_s: float = 0.0
    cpu_s: float = 0.0


def _judged(code: int | str, out: str, err: str, cpu_s: float, interrupted: bool) -> str:
    """What is wrong with an end; empty if nothing."""
    lines = [line for line in err.splitlines() if not QUIET.match(line)]
    if code not in (0, 1, 2, 130):
        return f"exit {code}"
    if "Traceback" in err or "Warning" in err:
        return "noise on stderr"
    if len(lines) > 1 or (code == 2 and len(lines) != 1) or (code == 0 and lines):
        return f"{len(lines)} lines on stderr"
    if lines and not lines[0].startswith("binarydyn: "):
        return "a strange line on stderr"
    if any(not c.isprintable() and c != "\n" for c in out + err):
        return "control characters in the output"
    if re.search(r"(?<![\w/-])(nan|NaN|inf|Infinity)(?![\w-])", out):
        return "a number that is none"
    if interrupted and code != 130:
        return "interrupted, and no 130"
    if cpu_s > 1.5 * LIMIT_S:
        return "too long"
    return ""


def run_one(case: Callable[[int, Path], list[str]], kind: str, number: int) -> Told:
    """Make a case in a folder of its own and run it."""
    from binarydyn.commands import main

    folder = Path(tempfile.mkdtemp(prefix="bad_input_"))
    here = os.getcwd()
    out, err = io.StringIO(), io.StringIO()
    words: list[str] = []
    detail, hit = "", []

    def interrupt(*_):
        hit.append(True)
        os.kill(os.getpid(), signal.SIGINT)

    try:
        os.chdir(folder)
        words = case(number, folder)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        signal.signal(signal.SIGPROF, interrupt)
        begun = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, LIMIT_S, LIMIT_S)
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code: int | str = main(words)
        except SystemExit as error:
            code = f"SystemExit {error.code}"
        except BaseException as error:
            code, detail = type(error).__name__, traceback.format_exc()
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
        cpu_s = time.process_time() - begun
    finally:
        os.chdir(here)
        shutil.rmtree(folder, ignore_errors=True)
    wrong = _judged(code, out.getvalue(), err.getvalue(), cpu_s, bool(hit))
    if wrong and not detail:
        detail = (err.getvalue() + "\n" + out.getvalue())[-1500:]
    if hit and not wrong:
        code = "130, long work"
    return Told(kind, number, words, code, wrong, detail, cpu_s)


def _work(line: Connection) -> None:
    """A worker: one case after another, as they are asked for."""
    import mutations

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    faulthandler.enable()
    while (job := line.recv()) is not None:
        kind, number = job
        try:
            told = run_one(mutations.CASES[kind], kind, number)
        except BaseException:  # the case itself, not the program
            told = Told(kind, number, [], "case", "the case failed", traceback.format_exc())
        line.send(told)


class _Worker:
    """A process and what it is doing."""

    def __init__(self):
        self.line, other = multiprocessing.get_context("spawn").Pipe()
        self.process = multiprocessing.get_context("spawn").Process(target=_work, args=(other,), daemon=True)
        self.process.start()
        other.close()
        self.job: tuple[str, int] | None = None
        self.begun_s = 0.0

    def give(self, job: tuple[str, int]) -> None:
        self.job, self.begun_s = job, _cpu_s(self.process.pid)
        self.line.send(job)

    def ended(self) -> Told | None:
        """What its case did, if that is over; a worker that is dead or far too late is one finding."""
        late = _cpu_s(self.process.pid) - self.begun_s > KILL_S
        try:
            if self.line.poll():
                return self.line.recv()
        except (EOFError, OSError):
            pass
        if late:
            self.process.kill()
        if late or not self.process.is_alive():
            self.process.join()
            why = "hang" if late else f"died of signal {-self.process.exitcode}"
            return Told(*self.job, [], why, why)
        return None


def run_all(
    jobs: Sequence[tuple[str, int]], workers: int, say: Callable[[str], None], minutes: float = math.inf
) -> dict[str, Tally]:
    """Run cases, as many as there is time for; what is wrong is said at once."""
    tallies = {kind: Tally() for kind, _ in jobs}
    end = time.monotonic() + 60.0 * minutes
    waiting, crew = list(reversed(jobs)), [_Worker() for _ in range(workers)]
    while (waiting and time.monotonic() < end) or any(worker.job for worker in crew):
        wait([worker.line for worker in crew], timeout=1.0)
        for place, worker in enumerate(crew):
            if worker.job and (told := worker.ended()):
                _note(tallies[told.kind], told, say)
                worker.job = None
                if not worker.process.is_alive():
                    crew[place] = worker = _Worker()
            if not worker.job and waiting and time.monotonic() < end:
                worker.give(waiting.pop())
    for worker in crew:
        worker.line.send(None)
    return tallies


def _note(tally: Tally, told: Told, say: Callable[[str], None]) -> None:
    tally.codes[str(told.code)] += 1
    tally.cpu_s += told.cpu_s
    tally.slowest_s = max(tally.slowest_s, told.cpu_s)
    if told.wrong:
        tally.wrong.append(told)
        say(f"{told.kind} {told.number}: {told.wrong}; {told.words}\n{told.detail}\n")


def _cpu_s(pid: int) -> float:
    """Processor time of a process so far."""
    try:
        words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")
