"""What results share: contents that are read when they are first asked for, and a table for notebooks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from html import escape
from typing import Any, TypeVar

Thing = TypeVar("Thing", bound="Lazy")


class Lazy:
    """Base of frozen dataclasses without defaults whose fields may come from a file, each when it is first asked for.

    Equal is what is the same object: arrays have no one answer to `==`.
    """

    def __getattr__(self, name: str) -> Any:
        read = vars(self).get("_read", {}).get(name)
        if read is None:
            raise AttributeError(f"a {type(self).__name__} has no {name!r}")
        vars(self)[name] = found = read()
        return found

    @classmethod
    def lazily(cls: type[Thing], **read: Callable[[], Any]) -> Thing:
        """One of its kind whose fields are what these functions give."""
        thing = object.__new__(cls)
        vars(thing)["_read"] = read
        return thing


def html_table(caption: str, rows: Iterable[Sequence[object]]) -> str:
    """Rows of cells as HTML, the first cell of each as its head."""
    lines = [
        f"<tr><th>{escape(str(head))}</th>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in cells) + "</tr>"
        for head, *cells in rows
    ]
    return f"<table><caption>{escape(caption)}</caption>{''.join(lines)}</table>"
