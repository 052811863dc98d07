"""How a value that somebody gave is shown back in a sentence: short, on one line, never a surprise."""

from __future__ import annotations

import datetime
from typing import Any

from ..kinds import as_shown

CAUTION = (
    "Results are research estimates and no hazard decision; "
    "those belong to the responsible authorities and licensed practice."
)
"""Said wherever results are shown or kept."""


def one_line(text: str) -> str:
    """The text with everything unprintable (line breaks too) written as an escape."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode() for c in text)


def counted(number: int, noun: str) -> str:
    """The number with its noun, in the plural where it is not one."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def of_status(status: str) -> str:
    """What a heading adds about a run that did not go to its end."""
    return "" if status == "completed" else f": {status.replace('_', ' ')}"


def rounded(value: float, digits: int = 3, sign: str = "") -> str:
    """The value to some digits, below a million without an exponent: 1240, not 1.24e+03; sign: as of a format."""
    return f"{float(f'{value:.{digits}g}'):{sign}g}"


def table_lines(text: str) -> str:
    """The text with everything unprintable but line breaks written as an escape: a terminal obeys what it is sent."""
    return text if text.isprintable() else "\n".join(map(one_line, text.split("\n")))


def as_given(value: Any) -> str:
    """The value as the file spells it, shortened."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, str):
        return '"' + one_line(value if len(value) <= 60 else value[:57] + "...") + '"'
    if isinstance(value, list | tuple):
        return _list_as_given(value)
    if isinstance(value, datetime.date | datetime.time):
        return f"the date or time {value}"
    if isinstance(value, float):
        return f"{value:g}" if value == float(f"{value:g}") else repr(value)
    if isinstance(value, int) and abs(value) >= 10**15:
        return "a huge whole number"
    return as_shown(value)


def _list_as_given(items: list | tuple) -> str:
    if items and isinstance(items[0], dict):
        return "a list of tables"
    if len(items) > 4 or any(isinstance(item, list) for item in items):
        return "a list"
    return "[" + ", ".join(map(as_given, items)) + "]"
