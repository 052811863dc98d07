"""Rows on their way: a block of them as bytes, a line of JSON that says what they are and then column after column."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ...sampling import Block, Design, Row
from ..groups import TEXT, Column, kind_of
from .table import Coded, Values, coded, plain_column, unknown_column

_CODES = np.dtype("<i4")


def columns_of(parts: Sequence[Row | Block]) -> dict[str, Values]:
    """Rows, one by one or many at once, as columns: member, status, reason and every number, unknown where none is."""
    tables = [_of_block(part) for part in parts if isinstance(part, Block)]
    if rows := [part for part in parts if isinstance(part, Row)]:
        tables.append(_of_rows(rows))
    return (
        tables[0]
        if len(tables) == 1
        else {name: _stacked(tables, name) for name in names_in_order([tuple(t) for t in tables])}
    )


def table_of(parts: Sequence[Row | Block], design: Design) -> dict[str, np.ndarray]:
    """Rows, in the order of members, as the arrays that a stored sweep has, with what the design varied."""
    columns = columns_of(parts)
    members = plain_column(columns.pop("member"))
    order = np.argsort(members)
    members = members[order]
    arrays = {name: values.texts if isinstance(values, Coded) else values for name, values in columns.items()}
    return {"member": members} | design.inputs(members) | {name: values[order] for name, values in arrays.items()}


def names_in_order(tables: Sequence[Sequence[str]]) -> list[str]:
    """Names of all tables: those of the longest in its order, then the others by their letters."""
    longest = min(map(tuple, tables), key=lambda names: (-len(names), names))
    return [*longest, *sorted({name for table in tables for name in table}.difference(longest))]


def _of_block(block: Block) -> dict[str, Values]:
    plain_column = {"member": block.members, "status": block.status, "reason": block.reason, **block.numbers}
    return {name: _values(name, np.asarray(values)) for name, values in plain_column.items()}


def _of_rows(rows: Sequence[Row]) -> dict[str, Values]:
    names = [name for name in names_in_order([tuple(row.numbers) for row in rows]) if name != "status"]
    plain_column = {"member": [row.index for row in rows], "status": [row.status for row in rows]}
    plain_column |= {"reason": [row.reason for row in rows]}
    plain_column |= {name: [row.numbers.get(name) for row in rows] for name in names}
    return {name: _values(name, values) for name, values in plain_column.items()}


def _values(name: str, values: Any) -> Values:
    column = Column.of(name, values).values
    return (
        Coded.of(column.tolist())
        if kind_of(name) == TEXT
        else column.astype(column.dtype.newbyteorder("<"), copy=False)
    )


def _stacked(tables: Sequence[Mapping[str, Values]], name: str) -> Values:
    parts = [table[name] if name in table else unknown_column(name, len(table["member"])) for table in tables]
    if kind_of(name) == TEXT:
        return Coded.of(text for part in parts for text in coded(part).texts)
    return np.concatenate([plain_column(part) for part in parts])


def packed(columns: Mapping[str, Values], attributes: Mapping[str, Any]) -> bytes:
    """A block as bytes."""
    listed, arrays = [], []
    for name, values in columns.items():
        words = values.words if isinstance(values, Coded) else None
        array = values.codes.astype(_CODES, copy=False) if isinstance(values, Coded) else values
        listed.append([name, array.dtype.str, words])
        arrays.append(array.tobytes())
    head = json.dumps({"attributes": dict(attributes), "rows": len(columns["member"]), "columns": listed})
    return b"".join((head.encode(), b"\n", *arrays))


@dataclass(frozen=True)
class Packed:
    """A block from its bytes, which are known to be whole."""

    data: bytes

    @cached_property
    def head(self) -> dict[str, Any]:
        """Attributes, number of rows, and the columns: name, kind, words."""
        return json.loads(self.data[: self._body - 1])

    @cached_property
    def _body(self) -> int:
        return self.data.index(b"\n") + 1

    def columns(self, names: Sequence[str]) -> dict[str, Values]:
        """Those of some columns that it has."""
        place, found = self._body, {}
        for name, kind, words in self.head["columns"]:
            dtype = np.dtype(kind)
            if name in names:
                array = np.frombuffer(self.data, dtype, self.head["rows"], place)
                found[name] = array if words is None else Coded(tuple(words), array)
            place += dtype.itemsize * self.head["rows"]
        return found
