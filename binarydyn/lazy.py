"""Results that may come from a file: what they hold is read when it is first asked for."""

from __future__ import annotations

from collections.abc import Callable
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
