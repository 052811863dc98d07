"""In which values two scenarios differ, key by key."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from ..notebook import library
from .fields import Table

if TYPE_CHECKING:
    import pandas


def flat(values: Any, parts: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Every value of a scenario with its dotted key; rows of a list of tables by index, other lists whole."""
    if isinstance(values, dict):
        rows = list(values.items())
    elif isinstance(values, list) and any(isinstance(each, dict) for each in values):
        rows = [(str(row), each) for row, each in enumerate(values)]
    else:
        yield ".".join(f'"{part}"' if "." in part else part for part in parts), values
        return
    for part, each in rows:
        yield from flat(each, (*parts, part))


def differing(one: dict[str, Any], other: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    """By dotted key, the values of both where they are not the same; None where one has none."""
    ours, theirs = dict(flat(one)), dict(flat(other))
    pairs = {name: (ours.get(name), theirs.get(name)) for name in ours | theirs}
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


def differences(one: Table, other: Table) -> pandas.DataFrame:
    """A row for each differing value, with the columns `this` and `other`, and the dotted keys as index."""
    every = (table.model_dump(mode="json") for table in (one, other))
    frame = library("pandas", "Scenario.diff").DataFrame
    return frame.from_dict(differing(*every), orient="index", columns=["this", "other"])
