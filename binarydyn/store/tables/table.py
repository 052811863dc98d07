"""A table of members, column by column: what may be too large to be in memory as a whole.

Texts are words and codes; in a file the words of a column are its `flag_meanings`, as the CF conventions (1.11,
section 3.5) say.  Only reasons, which are sentences, are stored as texts.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from .. import layout
from ..groups import TEXT, UNKNOWN, dtype_of, kind_of, write_unit

if TYPE_CHECKING:
    import h5py

ROWS = "members"
"""The group of a file that holds rows."""
PIECE = 1 << 16
"""Rows that are converted at a time where each becomes an object."""
_SENTENCES = frozenset(("reason",))
_CODE = np.dtype(np.int16)
_NONE = "unknown"


@dataclass(frozen=True)
class Coded:
    """Texts (n,) as codes (n,) into words; -1 stands for the empty one."""

    words: tuple[str, ...]
    codes: np.ndarray

    @classmethod
    def of(cls, texts: Iterable[str]) -> Coded:
        """From texts; words in the order of their first appearance."""
        words: dict[str, int] = {"": UNKNOWN}
        codes = np.fromiter((words.setdefault(text, len(words) - 1) for text in texts), dtype=np.int32)
        return cls(tuple(words)[1:], codes)

    @property
    def texts(self) -> np.ndarray:
        """(n,) the texts themselves, as objects: of sentences only few are long, and an array would give all that."""
        return np.array([*self.words, ""], dtype=object)[self.codes]

    def __len__(self) -> int:
        return len(self.codes)


Values = np.ndarray | Coded


def plain_column(values: Values) -> np.ndarray:
    """A column of numbers."""
    assert isinstance(values, np.ndarray), "numbers"
    return values


def coded(values: Values) -> Coded:
    """A column of texts."""
    assert isinstance(values, Coded), "texts"
    return values


def unknown_column(name: str, count: int) -> Values:
    """A column of which nothing is known."""
    kind = dtype_of(name)
    if kind is None:
        return Coded((), np.full(count, UNKNOWN, dtype=np.int32))
    return np.full(count, np.nan if kind.kind == "f" else UNKNOWN, dtype=kind)


class Source(Protocol):
    """Where rows come from: a block, or a result file."""

    @property
    def place(self) -> str: ...
    @property
    def members(self) -> np.ndarray: ...
    @property
    def names(self) -> tuple[str, ...]: ...
    def columns(self, names: Sequence[str]) -> dict[str, Values]: ...


class Recipe:
    """SHA-256 of a column, fed piece by piece: its name, kind, length and every bit of its values."""

    def __init__(self, name: str, kind: str, count: int):
        self._total = hashlib.sha256(repr((name, kind, count)).encode())

    def add(self, values: np.ndarray) -> None:
        """The next piece."""
        texts = values.dtype.kind == "O"
        self._total.update("".join(f"{text}\0" for text in values).encode() if texts else values.tobytes())

    @property
    def hexadecimal(self) -> str:
        """The hash of all that was added."""
        return self._total.hexdigest()


class Written:
    """A column of a group of a file, written piece by piece; kind None: texts."""

    def __init__(self, group: h5py.Group, name: str, count: int, kind: np.dtype | None):
        import h5py

        self._dataset = group.create_dataset(name, (count,), h5py.string_dtype() if kind is None else kind)
        self._recipe, self._first = Recipe(name, "text" if kind is None else kind.str, count), 0
        write_unit(self._dataset, name)
        if name == "member":
            self._dataset.make_scale(name)
        else:
            self._dataset.dims[0].attach_scale(group["member"])

    def add(self, piece: np.ndarray) -> None:
        """The next piece."""
        self._dataset[self._first : self._first + len(piece)] = piece
        self._recipe.add(piece)
        self._first += len(piece)

    def close(self) -> str:
        """Say what was written; its hash."""
        self._dataset.attrs["content_sha256"] = self._recipe.hexadecimal
        return self._recipe.hexadecimal


def _written(group: h5py.Group, name: str, count: int, kind: np.dtype | None, pieces: Iterable[np.ndarray]) -> str:
    column = Written(group, name, count, kind)
    for piece in pieces:
        column.add(piece)
    return column.close()


def write_values(group: h5py.Group, name: str, values: Values) -> str:
    """Write a column that is in memory; its hash."""
    if not isinstance(values, Coded):
        return _written(group, name, len(values), values.dtype, (values,))
    words = sorted(values.words)
    if name in _SENTENCES or len(words) > np.iinfo(_CODE).max or any(word.split() != [word] for word in words):
        return _written(group, name, len(values), None, _texts(values))
    order = np.array([*(words.index(word) for word in values.words), UNKNOWN], dtype=_CODE)
    digest = _written(group, name, len(values), _CODE, (order[values.codes],))
    group[name].attrs["flag_values"] = np.arange(UNKNOWN, len(words), dtype=_CODE)
    group[name].attrs["flag_meanings"] = " ".join((_NONE, *words))
    return digest


def write_table(parent: h5py.Group, columns: Mapping[str, np.ndarray]) -> None:
    """Write columns that are in memory, `member` the first, as the group of rows."""
    group = parent.create_group(ROWS)
    coded = {name: Coded.of(values) if kind_of(name) == TEXT else values for name, values in columns.items()}
    close_table(group, {name: write_values(group, name, values) for name, values in coded.items()})


def close_table(group: h5py.Group, digests: Mapping[str, str]) -> None:
    """Say which columns a group of rows has, and their hash."""
    group.attrs["columns"] = " ".join(digests)
    group.attrs["content_sha256"] = hashlib.sha256("".join(digests.values()).encode()).hexdigest()


def _texts(values: Coded) -> Iterator[np.ndarray]:
    words = np.array([*values.words, ""], dtype=object)
    for first in range(0, len(values), PIECE):
        yield words[values.codes[first : first + PIECE]]


def read_values(group: h5py.Group, name: str) -> Values:
    """A column.  ValueError where its content is not what was written."""
    words = _words(group, name)
    dataset = layout.dataset(group, name, dtype_of(name) if words is None else _CODE)
    if dataset.shape != layout.dataset(group, "member", dtype_of("member")).shape or dataset.ndim != 1:
        raise ValueError(f"{name} has another number of rows than members")
    is_text = dtype_of(name) is None and words is None
    recipe = Recipe(name, "text" if is_text else dataset.dtype.str, len(dataset))
    if is_text:
        texts = dataset.asstr()
        pieces = (texts[first : first + PIECE] for first in range(0, len(dataset), PIECE))
        values: Values = Coded.of(text for piece in pieces for text in _added(recipe, piece))
    else:
        values = _added(recipe, layout.read_numbers(dataset, name))
    if recipe.hexadecimal != layout.text(dataset, "content_sha256"):
        raise ValueError(f"the content of {name} is not what was written")
    if words is None or isinstance(values, Coded):
        return values
    if len(values) and not UNKNOWN <= values.min() <= values.max() < len(words):
        raise ValueError(f"{name} has values that mean no word")
    return Coded(words, values)


def _words(group: h5py.Group, name: str) -> tuple[str, ...] | None:
    """What the codes of a column mean; None for one of numbers or of plain texts."""
    if kind_of(name) != TEXT or name in _SENTENCES:
        return None
    found = layout.read_attributes(layout.child(group, name, "Dataset"), ("flag_meanings",))
    return tuple(str(found["flag_meanings"]).split()[1:]) if found else None


def _added(recipe: Recipe, piece: np.ndarray) -> np.ndarray:
    recipe.add(piece)
    return piece
