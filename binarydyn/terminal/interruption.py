"""Ctrl-C, or a polite end, that is neither lost nor comes in the middle of keeping a row."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any


class Interruption:
    """While it is entered, an interruption raises KeyboardInterrupt as ever, but after what is `held`, not within.

    Raised inside a library's clean-up callback it would be printed and forgotten: of 120 interruptions of a sweep that
    wrote many small blocks 34 were.  So it is also remembered, and raised at the end of whatever is held next.

    numbers: of the signals that interrupt; SIGTERM, where it is among them, raises KeyboardInterrupt too.
    """

    def __init__(self, *numbers: signal.Signals):
        self.asked: signal.Signals | None = None
        self._is_held = False
        self._before: dict[signal.Signals, Any] = dict.fromkeys(numbers or (signal.SIGINT,))

    def __enter__(self) -> Interruption:
        with suppress(ValueError):  # outside the main thread there are no signals to handle
            for number in self._before:
                self._before[number] = signal.signal(number, self._note)
        return self

    def __exit__(self, *_) -> None:
        for number, before in self._before.items():
            if before is not None:
                signal.signal(number, before)

    @property
    def code(self) -> int:
        """Exit code of who was interrupted so, as shells count: 130 for Ctrl-C, 143 for SIGTERM."""
        return 128 + (self.asked or signal.SIGINT)

    @property
    def word(self) -> str:
        """How a sentence calls it."""
        return "terminated" if self.asked == signal.SIGTERM else "interrupted"

    def _note(self, number: int, frame: Any) -> None:
        self.asked = signal.Signals(number)
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
