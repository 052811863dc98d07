"""How commands say on stderr how far they are: a bar on a terminal, a line at intervals elsewhere."""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from ..scenario.wording import one_line

if TYPE_CHECKING:
    from ..observing.coverage import Trial
    from ..sampling import Block, Row

    Part = TypeVar("Part", Row, Block, Row | Block, Trial)

INTERVAL_S = 5.0
"""Between two plain lines: a log stays readable, and somebody who looks into it is not left waiting."""


def stages(long: bool = False) -> Callable[[str, float], None] | None:
    """Stage and share on one line, where a person is looking; elsewhere a line at intervals of what may be long, and
    None for what takes seconds."""
    if not sys.stderr.isatty():
        return _Stages() if long else None

    def report(stage: str, share: float) -> None:
        print(f"\r{stage}: {100.0 * share:3.0f} % " if share < 1.0 else "\r\x1b[K", end="", file=sys.stderr, flush=True)

    return report


class _Stages:
    """A stage and its share as a plain line, INTERVAL_S after the last."""

    def __init__(self):
        self.last = time.monotonic()

    def __call__(self, stage: str, share: float) -> None:
        if share < 1.0 and time.monotonic() - self.last >= INTERVAL_S:
            self.last = time.monotonic()
            print(f"{stage}: {100.0 * share:3.0f} %", file=sys.stderr, flush=True)


def watched(parts: Iterator[Part], total: int, reused: int, what: str = "sweep") -> Iterator[Part]:
    """The same, with the progress of a sweep of `total` members of which `reused` were there before."""
    return (_bar if sys.stderr.isatty() else _lines)(parts, total, reused, what)


class _Tally:
    """What has come so far of a sweep, and what that says of the rest.

    The rate counts from the first part on, which comes late: kernels are compiled and workers started before it.
    """

    def __init__(self, total: int, reused: int):
        self.total, self.done = total, reused
        self.failures: Counter[str] = Counter()
        self._come = 0
        self._first: tuple[float, int] | None = None

    def add(self, part: Row | Block | Trial) -> int:
        """Count a row, or a block of them; how many they are."""
        statuses = np.atleast_1d(part.status)  # one of a row, many of a block
        count = len(statuses)
        words, numbers = np.unique(statuses, return_counts=True)
        self.failures.update({str(word): int(n) for word, n in zip(words, numbers, strict=True) if word != "completed"})
        self.done += count
        self._come += count
        self._first = self._first or (time.monotonic(), count)
        return count

    @property
    def rate(self) -> float:
        """Members a second; 0 while it is not known."""
        begun, before = self._first or (0.0, 0)
        since = time.monotonic() - begun
        return (self._come - before) / since if self._come > before and since > 0.0 else 0.0

    @property
    def words(self) -> str:
        """Rate, time left, failures by status."""
        rate = self.rate
        left = (
            f"{_rate(rate)} members/s, {_lasting((self.total - self.done) / rate)} left"
            if rate
            else "rate not known yet"
        )
        kinds = ", ".join(f"{number} {word}" for word, number in self.failures.most_common())
        return f"{left}, {self.failures.total()} failed" + (f" ({kinds})" if kinds else "")


def _rate(number: float) -> str:
    return f"{number:.3g}" if number < 1000.0 else f"{number:.0f}"


def _lasting(seconds: float) -> str:
    if seconds < 100.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 6000.0 else f"{seconds / 3600.0:.1f} h"


def _bar(parts: Iterator[Part], total: int, reused: int, what: str) -> Iterator[Part]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[words]}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        tally = _Tally(total, reused)
        task = progress.add_task(what, total=total, completed=reused, words="")
        for part in parts:
            progress.update(task, advance=tally.add(part), words=tally.words)
            yield part


def _lines(parts: Iterator[Part], total: int, reused: int, what: str) -> Iterator[Part]:
    tally, last = _Tally(total, reused), time.monotonic()
    for part in parts:
        tally.add(part)
        if time.monotonic() - last >= INTERVAL_S:
            last = time.monotonic()
            print(f"{what}: {tally.done} of {total} members, {tally.words}", file=sys.stderr, flush=True)
        yield part


def say_if_cold() -> None:
    """Before the first run of all, say what takes so long: kernels are compiled once, then kept."""
    from .._jit import cache_folder, why_not_kept

    if cache_folder is None:
        advice = "set XDG_CACHE_HOME to a folder of your own"
        print(f"compiling kernels anew, about 20 s: {one_line(why_not_kept)}; {advice} ..", file=sys.stderr, flush=True)
    elif not any(cache_folder.glob("*.kernel")):
        print("compiling kernels once for this version, about 20 s ..", file=sys.stderr, flush=True)
