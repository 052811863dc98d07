"""How things show themselves: one line as text, a table in a notebook, tables of other libraries where installed."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from importlib import import_module
from types import MethodType, ModuleType
from typing import Any

from .errors import InputError


class Displayed:
    """A class that says of itself what `_line` and `_facts` return: one line, and rows of a table by their labels."""

    def _line(self) -> str:
        raise NotImplementedError

    def _facts(self) -> dict[str, Any]:
        raise NotImplementedError

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {self._line()}>"

    def __str__(self) -> str:
        return repr(self)

    def _repr_html_(self) -> str:
        rows = "".join(f"<tr><th>{escape(k)}</th><td>{escape(str(v))}</td></tr>" for k, v in self._facts().items())
        return f"<table><caption>{escape(repr(self))}</caption>{rows}</table>"


class later:
    """A method that a function of a later room gives, `later("room.module:name")`: imported when it is first asked for,
    so that rooms keep their order and cost nothing where they are not used.
    """

    def __init__(self, where: str):
        self.module, self.name = where.split(":")

    def __get__(self, thing: object | None, kind: type) -> Callable[..., Any]:
        function = getattr(import_module(f"{__package__}.{self.module}"), self.name)
        return function if thing is None else MethodType(function, thing)


def library(name: str, asked: str) -> ModuleType:
    """pandas or xarray, which are optional: InputError, naming what was `asked`, where it is not installed."""
    try:
        return import_module(name)
    except ImportError:
        raise InputError(asked, f"it needs {name}, which is not installed here; pip install {name}") from None
