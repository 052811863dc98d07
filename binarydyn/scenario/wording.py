"""How a value that somebody gave is shown back in a sentence: short, on one line, never a surprise."""

from __future__ import annotations

import datetime
import reprlib
from typing import Any

_SHORT = reprlib.Repr()
_SHORT.maxstring = _SHORT.maxother = _SHORT.maxlong = 60


def one_line(text: str) -> str:
    """The text with everything unprintable (line breaks too) written as an escape."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode() for c in text)


def as_given(value: Any) -> str:
    """The value as the file spells it, shortened."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list" if len(value) > 4 else "[" + ", ".join(as_given(item) for item in value) + "]"
    if isinstance(value, datetime.date | datetime.time):
        return f"the date or time {value}"
    if isinstance(value, float):
        return f"{value:g}" if value == float(f"{value:g}") else repr(value)
    if isinstance(value, int) and abs(value) >= 10**15:
        return "a huge whole number"
    return one_line(_SHORT.repr(value))
