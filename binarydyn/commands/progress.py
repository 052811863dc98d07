"""How commands say on stderr how far they are: a bar on a terminal, a line at intervals elsewhere."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..ensembles import Block, Row

INTERVAL_S = 10.0
"""Between two plain lines: a log stays readable, and somebody who looks into it is not left waiting."""


def stages() -> Callable[[str, float], None] | None:
    """For `predict`: stage and share on one line, where a person is looking; None elsewhere, since it takes seconds."""
    if not sys.stderr.isatty():
        return None

    def report(stage: str, share: float) -> None:
        print(f"\r{stage}: {share:4.0%} " if share < 1.0 else "\r\x1b[K", end="", file=sys.stderr, flush=True)

    return report


def watched(parts: Iterator[Row | Block], total: int, reused: int, what: str = "sweep") -> Iterator[Row | Block]:
    """The same, with the progress of a sweep of `total` members of which `reused` were there before."""
    return (_bar if sys.stderr.isatty() else _lines)(parts, total, reused, what)


def _counted(part: Row | Block) -> tuple[int, int]:
    """How many members a part has, and how many of them failed."""
    return (len(part), part.failed) if hasattr(part, "members") else (1, int(part.status != "done"))


def _bar(parts: Iterator[Row | Block], total: int, reused: int, what: str) -> Iterator[Row | Block]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn(what),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]} members/s,"),
        TimeRemainingColumn(),
        TextColumn("left, {task.fields[failed]} failed"),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(what, total=total, completed=reused, rate="-", failed=0)
        begun, count, failed = time.monotonic(), 0, 0
        for part in parts:
            more, bad = _counted(part)
            count, failed = count + more, failed + bad
            rate = f"{count / (time.monotonic() - begun):.1f}"
            progress.update(task, advance=more, rate=rate, failed=failed)
            yield part


def _lines(parts: Iterator[Row | Block], total: int, reused: int, what: str) -> Iterator[Row | Block]:
    begun = last = time.monotonic()
    count = failed = 0
    for part in parts:
        more, bad = _counted(part)
        count, failed = count + more, failed + bad
        now = time.monotonic()
        if now - last >= INTERVAL_S:
            last, rate = now, count / (now - begun)
            left = (total - reused - count) / rate
            how = f"{rate:.1f} members/s, {left:.0f} s left, {failed} failed"
            print(f"{what}: {reused + count} of {total} members, {how}", file=sys.stderr, flush=True)
        yield part


def say_if_cold() -> None:
    """Before the first run of all, say what takes so long: kernels are compiled once, then kept."""
    from .._jit import cache_folder

    if not any(cache_folder.glob("*/*.nbi")):
        print("compiling kernels once for this version, about 20 s ..", file=sys.stderr, flush=True)
