"""Ctrl-C that is neither lost nor comes in the middle of keeping a row."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any


class Interruption:
    """While it is entered, an interruption raises KeyboardInterrupt as ever, but after what is `held`, not within.

    Raised inside a library's clean-up callback it would be printed and forgotten: of 120 interruptions of a sweep that
    wrote many small blocks 34 were.  So it is also remembered, and raised at the end of whatever is held next.
    """

    def __init__(self):
        self.asked = False
        self._is_held = False
        self._before: Any = None

    def __enter__(self) -> Interruption:
        with suppress(ValueError):  # outside the main thread there are no signals to handle
            self._before = signal.signal(signal.SIGINT, self._note)
        return self

    def __exit__(self, *_) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)

    def _note(self, number: int, frame: Any) -> None:
        self.asked = True
        if not self._is_held:
            raise KeyboardInterrupt

    @contextmanager
    def held(self) -> Iterator[None]:
        """What is inside is done to its end."""
        self._is_held = True
        try:
            yield
        finally:
            self._is_held = False
        if self.asked:
            raise KeyboardInterrupt
