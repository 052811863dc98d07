"""Which members an ensemble has: a grid over numbers of the scenario, from the texts that a user types."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Any, Protocol

import numpy as np

from ..errors import ArgumentError
from ..kinds import check_kind, takes
from ..scenario import Scenario
from ..scenario.variation import why_not_numeric
from ..scenario.wording import as_given

LARGEST = 10_000_000
"""Members of one design, the same limit as for samples: beyond it the table of rows no longer fits in memory."""
_NOTHING = "nothing to vary is given, allowed is at least one of {}; add one"
_FORMS = "KEY=LOW:HIGH:COUNT, KEY=V1,V2,.. or KEY=V, as in impactor.mass_kg=300:900:13"


class Design(Protocol):
    """What a sweep asks of a design: its keys, its members by number, and a hash of all that decides them."""

    @property
    def keys(self) -> tuple[str, ...]: ...
    @property
    def sha256(self) -> str: ...
    @property
    def json(self) -> str: ...
    def __len__(self) -> int: ...
    def member(self, k: int) -> dict[str, float]: ...
    def inputs(self, members: np.ndarray) -> dict[str, np.ndarray]: ...
    def together(self, keys: Sequence[str]) -> Iterator[Iterable[int]]: ...
    def check(self, scenario: Scenario) -> None: ...


@dataclass(frozen=True)
class Grid:
    """Every combination of the values of its axes, ((key, (value, ..)), ..); the last axis varies fastest.

    InputError for no axis, a key or a value given twice, a value that is not a finite number, or too many members.
    """

    axes: tuple[tuple[str, tuple[float, ...]], ...]

    def __post_init__(self):
        if not isinstance(self.axes, tuple) or any(not isinstance(each, tuple) or len(each) != 2 for each in self.axes):
            raise ArgumentError("vary", "these are no axes, ((key, (value, ..)), ..); use Grid.of({key: values})")
        if not self.axes:
            raise ArgumentError("vary", _NOTHING.format("{key: values}"), typed=_NOTHING.format(_FORMS))
        if len(set(self.keys)) < len(self.keys):
            twice = next(key for key in self.keys if self.keys.count(key) > 1)
            raise _wrong(twice, "the key is given twice, once is allowed; put all values in one")
        for key, values in self.axes:
            _check_values(key, values)
        if len(self) > LARGEST:
            raise ArgumentError("vary", f"the grid has {len(self)} members, allowed are {LARGEST}; take fewer values")

    @classmethod
    @takes(values=Mapping)
    def of(cls, values: Mapping[str, Sequence[float]]) -> Grid:
        """From {key: values}; the last key varies fastest."""
        return cls(tuple((key, _numbers(key, listed)) for key, listed in values.items()))

    @classmethod
    @takes(texts=Sequence)
    def from_texts(cls, texts: Sequence[str]) -> Grid:
        """From texts such as `impactor.mass_kg=300:900:13` (both ends included, evenly spaced) or `..=300,500,900`."""
        return cls(tuple(_axis(text) for text in texts))

    @classmethod
    def from_json(cls, text: str) -> Grid:
        """The grid that `json` wrote.  ValueError, TypeError or InputError for any other text."""
        grid = cls.of(dict(json.loads(text)))
        if grid.json != text or not all(isinstance(key, str) for key in grid.keys):
            raise ValueError("no grid is written so")
        return grid

    @property
    def json(self) -> str:
        """As text that gives back the same numbers, bit for bit."""
        return json.dumps(self.axes)

    @property
    def sha256(self) -> str:
        """Of all that decides the members, in hexadecimal."""
        return hashlib.sha256(self.json.encode()).hexdigest()

    @property
    def keys(self) -> tuple[str, ...]:
        """The dotted names that vary."""
        return tuple(key for key, _ in self.axes)

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of values on each axis."""
        return tuple(len(values) for _, values in self.axes)

    def __len__(self) -> int:
        return math.prod(self.shape)

    def member(self, k: int) -> dict[str, float]:
        """What member k, 0 <= k < len, changes in the scenario."""
        places = np.unravel_index(k, self.shape)
        return {key: values[i] for (key, values), i in zip(self.axes, places, strict=True)}

    def inputs(self, members: np.ndarray) -> dict[str, np.ndarray]:
        """What members (n,) change: arrays (n,) by key."""
        places = np.unravel_index(members, self.shape)
        return {key: np.array(values)[i] for (key, values), i in zip(self.axes, places, strict=True)}

    def together(self, keys: Sequence[str]) -> Iterator[np.ndarray]:
        """All members, those that agree in the values of some keys as one array each."""
        size = [len(values) if key in keys else 1 for key, values in self.axes]
        inner = np.indices([n if key not in keys else 1 for key, n in zip(self.keys, self.shape, strict=True)])
        for outer in np.ndindex(*size):
            places = (inner[i].ravel() + outer[i] for i in range(len(self.axes)))
            yield np.ravel_multi_index(tuple(places), self.shape)

    def check(self, scenario: Scenario) -> None:
        """InputError, naming the nearest right key, where a key is not a number that this scenario has."""
        for key in self.keys:
            if why := why_not_numeric(scenario, key):
                raise _wrong(key, why)


def _numbers(key: Any, listed: Any) -> tuple[float, ...]:
    """The values of one key."""
    if not isinstance(key, str):
        raise _wrong(key, "this is no text, allowed are keys such as impactor.mass_kg; write one")
    values: list[Any] = (
        list(listed) if isinstance(listed, Iterable) and not isinstance(listed, str | Mapping) else [None]
    )
    if not all(isinstance(value, Real) for value in values):
        raise _wrong(key, f"{as_given(listed)} is given, allowed is a list of numbers; write [300.0, 600.0]")
    return tuple(float(value) for value in values)


def finite_number(argument: str, key: str, value: Any) -> float:
    """The value of a key in one member.  InputError for none."""
    if isinstance(value, Real) and math.isfinite(value):
        return float(value)
    raise ArgumentError(argument, f"{as_given(value)} is given, allowed is a finite number; change it", as_given(key))


def _wrong(given: str, sentence: str) -> ArgumentError:
    """About one of the things to vary."""
    return ArgumentError("vary", sentence, as_given(given))


def _check_values(key: str, values: tuple[float, ...]) -> None:
    if not values:
        raise _wrong(key, "no value is given, allowed is at least one; write some")
    for value in values:
        if not math.isfinite(value):
            raise _wrong(key, f"{value} is given, allowed are finite numbers; change it")
    if len(set(values)) < len(values):
        twice = next(value for i, value in enumerate(values) if value in values[:i])
        raise _wrong(key, f"{twice:g} is given twice, once is allowed; remove one")


def _axis(text: str) -> tuple[str, tuple[float, ...]]:
    """One axis from its text."""
    check_kind("Grid.from_texts(texts)", text, str)
    key, equals, listed = (part.strip() for part in text.partition("="))
    if not (key and equals and listed):
        raise _wrong(text, f"it does not say key and values, allowed is {_FORMS}; write it so")
    if ":" not in listed:
        return key, tuple(_number(part, text) for part in listed.split(","))
    parts = listed.split(":")
    if len(parts) != 3:
        raise _wrong(text, f"{len(parts)} numbers are between the colons, allowed is {_FORMS}; write it so")
    low, high = (_number(part, text) for part in parts[:2])
    return key, tuple(_spaced(low, high, _count(parts[2], text), text))


def _spaced(low: float, high: float, count: int, given: str) -> list[float]:
    """Both ends included."""
    if count == 1 and low != high:
        raise _wrong(given, f"one value between {low:g} and {high:g} is asked for, allowed is KEY=V; name the value")
    if low == high and count > 1:
        raise _wrong(given, f"{count} values from {low:g} to the same are asked for; write two different ends")
    if not math.isfinite(high - low):
        raise _wrong(given, "the ends are not finite or too far apart, allowed are finite numbers; change them")
    return np.linspace(low, high, count).tolist()


def _count(text: str, given: str) -> int:
    text = text.strip()
    if not (text.isascii() and text.isdigit() and len(text) < 12 and 1 <= int(text) <= LARGEST):
        raise _wrong(
            given, f"the count {as_given(text)} is given, allowed is a whole number, 1 .. {LARGEST}; change it"
        )
    return int(text)


def _number(text: str, given: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise _wrong(
            given,
            f"{as_given(text.strip())} is given, allowed is a number without a unit (the key names it); write one",
        ) from None
