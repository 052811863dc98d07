"""Every key that a scenario may have, walked from the schema: the table behind `check`, the errors and sweeps."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from .ranges import range_text

_KINDS = {float: "a number", int: "a whole number", str: "a text in quotes"}
_NO_FACTS = {"unit": "", "reason": "", "low": None, "high": None, "open_low": False, "signed": False, "choices": ()}


@dataclass(frozen=True)
class Key:
    """One key: dotted `name`, `kind` in words, `length` of a list (0: no list), `default` (None: none), `required`."""

    name: str
    kind: str
    length: int
    default: Any
    required: bool
    facts: dict[str, Any]

    @property
    def unit(self) -> str:
        """Unit, or empty where there is none."""
        return self.facts["unit"]

    @property
    def reason(self) -> str:
        """Why this default and this range."""
        return self.facts["reason"]

    @property
    def numeric(self) -> bool:
        """Whether it is one number or a list of numbers, which a sweep may vary."""
        return self.kind in ("a number", "a whole number", "numbers") and not self.name.startswith(
            ("sampling", "expected", "input_sigma")
        )

    @property
    def is_table(self) -> bool:
        """Whether it holds further keys."""
        return self.kind in ("a table", "a list of tables")

    @property
    def allowed(self) -> str:
        """What may be written, in words."""
        what = f"[{', '.join(['number'] * self.length)}]" if self.kind == "numbers" else self.kind
        limits = range_text(self.facts)
        if self.facts["choices"]:
            return limits
        return f"{what}, {limits}" if limits else what


ROW_TABLES = ("expected", "input_sigma", "inclusions", "boulders")
"""Tables that may be there several times, `[[name]]`."""


def key_name(parts: Iterable[str]) -> str:
    """The dotted name by which the table of keys knows a place: the number of a row is `<row>`."""
    named: list[str] = []
    for part in parts:
        named.append("<row>" if part.isdecimal() and named and named[-1] in ROW_TABLES else part)
    return ".".join(named)


@cache
def known_keys(model: type[BaseModel]) -> dict[str, Key]:
    """Every key by its dotted name, in the order of the schema."""
    return {key.name: key for key in walk(model)}


def walk(model: type[BaseModel], prefix: str = "") -> Iterator[Key]:
    """Keys of a table and of the tables in it, in order.

    `<key>` stands for a name the user chooses, `<row>` for the place in a list of tables.
    """
    for name, field in model.model_fields.items():
        dotted, kind = prefix + name, _bare(field.annotation)
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield _key(dotted, "a table", 0, field)
            yield from walk(kind, dotted + ".")
        elif typing.get_origin(kind) is dict:
            yield _key(dotted, "a table", 0, field)
            yield from walk(typing.get_args(kind)[1], dotted + ".<key>.")
        elif typing.get_origin(kind) is tuple:
            yield from _list(dotted, typing.get_args(kind), field)
        else:
            yield _key(dotted, _KINDS[kind], 0, field)


def _list(dotted: str, elements: tuple, field: FieldInfo) -> Iterator[Key]:
    """Numbers of a fixed count, or a list of any length: of tables, texts, or pairs of keys with a number."""
    if Ellipsis not in elements:
        yield _key(dotted, "numbers", len(elements), field)
    elif isinstance(elements[0], type) and issubclass(elements[0], BaseModel):
        yield _key(dotted, "a list of tables", 0, field)
        yield from walk(elements[0], dotted + ".<row>.")
    else:
        yield _key(dotted, "a list of texts" if elements[0] is str else 'a list of ["key", "key", number]', 0, field)


def _key(name: str, kind: str, length: int, field: FieldInfo) -> Key:
    default = None if field.is_required() or kind in ("a table", "a list of tables") else field.default
    facts: Any = field.json_schema_extra or _NO_FACTS
    return Key(name, kind, length, default, field.is_required(), facts)


def _bare(annotation: Any) -> Any:
    """The type inside Optional[...] and Annotated[...]."""
    while True:
        if typing.get_origin(annotation) is typing.Annotated:
            annotation = typing.get_args(annotation)[0]
        elif typing.get_origin(annotation) in (typing.Union, types.UnionType):
            annotation = next(kind for kind in typing.get_args(annotation) if kind is not type(None))
        else:
            return annotation
