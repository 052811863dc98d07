"""Members written out one by one: how a design of anybody's own travels to other processes and into files."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ..errors import ArgumentError, KindError
from ..scenario import Scenario
from .design import LARGEST, Design, Grid, finite_number
from .sample import Sample

_ASKED = ("keys", "sha256", "json", "__len__", "member", "inputs", "together", "check")


@dataclass(frozen=True)
class Listed:
    """Member k changes `keys` to values[k]; sha256: as its own design has it."""

    keys: tuple[str, ...]
    values: tuple[tuple[float, ...], ...]
    sha256: str

    @classmethod
    def of(cls, design: Design) -> Listed:
        """All members of a design."""
        keys = tuple(design.keys)
        members = (design.member(k) for k in range(len(design)))
        return cls(keys, tuple(tuple(float(member[key]) for key in keys) for member in members), design.sha256)

    @classmethod
    def of_rows(cls, rows: Sequence[Mapping[str, Any]]) -> Listed:
        """From one {key: number} a member, all with the same keys.  InputError for anything else."""
        if not 1 <= len(rows) <= LARGEST:
            raise ArgumentError("over", f"{len(rows)} rows are given, allowed are 1 .. {LARGEST}; change them")
        keys = tuple(rows[0]) if isinstance(rows[0], Mapping) else ()
        for k, row in enumerate(rows):
            if not (isinstance(row, Mapping) and row and row.keys() == rows[0].keys()):
                raise ArgumentError("over", f"row {k} has not the keys of the first, allowed is the same; complete it")
        values = tuple(tuple(finite_number("over", key, row[key]) for key in keys) for row in rows)
        return cls(keys, values, hashlib.sha256(json.dumps([keys, values]).encode()).hexdigest())

    @classmethod
    def from_json(cls, text: str) -> Listed:
        """The list that `json` wrote."""
        held = json.loads(text)
        return cls(tuple(held["listed"]), tuple(map(tuple, held["values"])), held["sha256"])

    @property
    def json(self) -> str:
        """As text that gives back the same numbers, bit for bit."""
        return json.dumps({"listed": self.keys, "values": self.values, "sha256": self.sha256})

    def __len__(self) -> int:
        return len(self.values)

    def member(self, k: int) -> dict[str, float]:
        """What member k, 0 <= k < len, changes in the scenario."""
        return dict(zip(self.keys, self.values[k], strict=True))

    def inputs(self, members: np.ndarray) -> dict[str, np.ndarray]:
        """What members (n,) change: arrays (n,) by key."""
        return dict(zip(self.keys, self._table[members].T, strict=True))

    def together(self, keys: Sequence[str]) -> Iterator[Iterable[int]]:
        """All members, those that agree in the values of some keys as one list each."""
        places = [self.keys.index(key) for key in keys]
        groups: dict[tuple[float, ...], list[int]] = {}
        for k, values in enumerate(self.values):
            groups.setdefault(tuple(values[i] for i in places), []).append(k)
        yield from groups.values()

    def check(self, scenario: Scenario) -> None:
        """As of the grid of the same keys."""
        Grid.of({key: [0.0] for key in self.keys}).check(scenario)

    @cached_property
    def _table(self) -> np.ndarray:
        return np.array(self.values, dtype=float).reshape(len(self.values), len(self.keys))


def as_text(design: Design) -> str:
    """From which design_of makes a design of the same members."""
    return design.json if isinstance(design, Grid | Sample | Listed) else Listed.of(design).json


def design_of(text: str) -> Grid | Sample | Listed:
    """The design that as_text wrote."""
    if not text.startswith("{"):
        return Grid.from_json(text)
    return (Listed if text.startswith('{"listed"') else Sample).from_json(text)


def check_design(place: str, given: object) -> None:
    """KindError where something is no design and cannot be made into one."""
    missing = [name for name in _ASKED if not hasattr(given, name)]
    if missing:
        raise KindError(
            place,
            f"a {type(given).__name__} is given, allowed is {{key: values}}, a table or a list of rows "
            f"{{key: value}}, a Grid, a Sample or a design of your own (this has no {', '.join(missing)}); give one",
        )
