"""The members of a sweep as one table in their order, whether they were just computed or come from a file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import InputError
from ..lazy import Lazy
from ..notebook import Displayed, library
from ..renamed import COLUMNS, now
from ..sampling import Design, Grid, Sample
from ..scenario import Scenario
from ..units import unit_of
from .groups import FLAG, UNKNOWN, kind_of

if TYPE_CHECKING:
    import pandas
    import xarray

    from ..ensembles import Backend

_PIECE = 4096


@dataclass(frozen=True, eq=False, repr=False)
class Members(Lazy, Displayed):
    """What `sweep` returns, and `open` of a file with a sweep; n members, in the order of their numbers.

    design: which members were asked for; there may be fewer of them.  columns: arrays (n,) by name: `member`, what
    varies, `status`, `reason` and every outcome.  An unknown number is nan there, a text empty, a flag or a whole
    number -1; those of a file are read when they are asked for.  table: `full` or `summary`, which outcomes there are;
    options: how they were computed.
    """

    scenario: Scenario
    design: Design
    columns: Mapping[str, np.ndarray]
    table: str
    options: str

    @classmethod
    def of(cls, scenario: Scenario, design: Design, columns: Mapping[str, np.ndarray], how: Backend) -> Members:
        """Of what was computed so."""
        return cls(scenario, design, columns, how.table, how.summary.words if how.summary else "")

    def __len__(self) -> int:
        return len(self.columns["member"])

    @property
    def keys(self) -> tuple[str, ...]:
        """What varies, by dotted names."""
        return tuple(self.design.keys)

    @property
    def sample(self) -> Sample | None:
        """How members were drawn from [sampling]; None for a grid or for rows."""
        return self.design if isinstance(self.design, Sample) else None

    @property
    def axes(self) -> dict[str, np.ndarray]:
        """Of a grid: the values of each varied key, the last of which varies fastest over the members; else empty."""
        return {key: np.array(values) for key, values in getattr(self.design, "axes", ())}

    @property
    def ok(self) -> np.ndarray:
        """(n,) which members ended well."""
        return self.columns["status"] == "completed"

    def statuses(self) -> dict[str, int]:
        """How many members came to which end, the most frequent first."""
        return dict(Counter(self.columns["status"].tolist()).most_common())

    def on_grid(self, name: str) -> np.ndarray:
        """A column of a grid, one dimension for each of `axes`; unknown where a member is missing.

        InputError for another name, and for members that are no grid.
        """
        if name not in self.columns:
            hint = now(name, COLUMNS) or f"allowed are {', '.join(self.columns)}"
            raise InputError("on_grid", f"there is no column {name!r}; {hint}")
        if not isinstance(self.design, Grid):
            raise InputError("on_grid", "these members are no grid, allowed are those of {key: values}; use columns")
        values = self.columns[name]
        unknown = {"f": np.nan, "O": ""}.get(values.dtype.kind, UNKNOWN)
        whole = np.full(len(self.design), unknown, values.dtype)
        whole[self.columns["member"]] = values
        return whole.reshape(self.design.shape)

    @property
    def df(self) -> pandas.DataFrame:
        """A pandas table: index `member`; status, reason, what varies, then every outcome in the unit of its name.

        Unknown numbers are nan, unknown flags NA.
        """
        pandas = library("pandas", "df")
        first = ("status", "reason", *self.keys)
        names = (*first, *(name for name in self.columns if name not in (*first, "member")))
        columns = {name: self.columns[name] for name in names}
        columns |= {
            name: pandas.arrays.BooleanArray(values == 1, values < 0)
            for name, values in columns.items()
            if kind_of(name) == FLAG
        }
        return pandas.DataFrame(columns, pandas.Index(self.columns["member"], name="member"))

    def to_xarray(self) -> xarray.Dataset:
        """Each column over the axes of a grid, of others over `member`, with its unit."""
        xarray = library("xarray", "to_xarray")
        take: Callable[[str], Any]
        if isinstance(self.design, Grid):
            dims, at, take = self.keys, self.axes, self.on_grid
        else:
            dims, at, take = ("member",), {"member": self.columns["member"]}, self.columns.__getitem__
        names = [name for name in self.columns if name not in at]
        columns = {name: (dims, take(name), {"units": unit_of(name)}) for name in names}
        return xarray.Dataset(columns, {key: (key, values, {"units": unit_of(key)}) for key, values in at.items()})

    def iter(self) -> Iterator[dict[str, Any]]:
        """Each member as a dictionary by the names of the columns, in their order."""
        for first in range(0, len(self), _PIECE):
            piece = {name: values[first : first + _PIECE].tolist() for name, values in self.columns.items()}
            yield from (dict(zip(piece, row, strict=True)) for row in zip(*piece.values(), strict=True))

    def _line(self) -> str:
        ends = ", ".join(f"{count} {word}" for word, count in self.statuses().items())
        count = len(self.keys)
        return f"{len(self)}: {ends}; varies {count} {'key' if count == 1 else 'keys'}; {self.table} table"

    def _facts(self) -> dict[str, Any]:
        return self.statuses() | {
            key: f"{self.columns[key].min():g} .. {self.columns[key].max():g}" for key in self.keys
        }
