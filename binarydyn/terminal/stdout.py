"""What commands print goes through here: no control characters of a file reach a terminal, no reader must stay."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout, suppress
from typing import Any, TextIO

from ..scenario.wording import table_lines

READER_GONE = 141
"""Exit code where whoever reads went away, as a shell has it of a process that ends by SIGPIPE (128 + 13)."""


class ReaderGone(Exception):
    """Whoever read the output went away.  No OSError, which the library of the command line turns into an exit."""


class Shown:
    """A stream of text as it is, but for control characters, which it writes as escapes."""

    def __init__(self, stream: TextIO):
        self.stream = stream

    def write(self, text: str) -> int:
        """Write it; names, warnings and tables of a file may hold what a terminal obeys."""
        with _reader():
            return self.stream.write(table_lines(text))

    def flush(self) -> None:
        """Send it."""
        with _reader():
            self.stream.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


@contextmanager
def _reader() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        raise ReaderGone from None


def terminal() -> TextIO:
    """The standard output as it is, for a library that writes control characters of its own."""
    return getattr(sys.stdout, "stream", sys.stdout)


@contextmanager
def shown() -> Iterator[None]:
    """All that is printed inside, sent at the end.  ReaderGone or OSError where it cannot be; the rest is dropped."""
    stream = sys.stdout or open(os.devnull, "w")  # it was closed before we came
    try:
        with redirect_stdout(Shown(stream)):
            yield
            sys.stdout.flush()
    except (ReaderGone, OSError):
        _drop(stream)
        raise


def _drop(stream: TextIO) -> None:
    """Send the rest nowhere, else the interpreter complains about it when it ends."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
