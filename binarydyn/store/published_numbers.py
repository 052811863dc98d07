"""Published numbers as a CSV file, read with a sentence and a line number for all that is wrong.

Columns: name (an outcome of `predict`, or an unknown such as primary.semi_axes_m.2), value, sigma.  A line without a
value is a number that could be measured with that sigma.  Further columns are named like lines with a value: they hold
correlations, or covariances where there is no column sigma; an empty cell is what the other half says, or 0.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..errors import InputError
from ..inversion.published import Published
from ..scenario.wording import one_line
from .csv_reading import CsvTable, number_of

NEEDED = ("name", "value")
_FARTHEST = 1e30


def read_published(path: str) -> Published:
    """InputError for all that is no such file."""
    table = CsvTable(path, "numbers", NEEDED)
    table.check_once(table.names)
    for name in NEEDED:
        if name not in table.names:
            commas = ", the cells seem to be parted by something else than commas" if table.seems_uncut else ""
            raise InputError(table.where, f"the column {name} is missing{commas}; give name,value,sigma")
    rows = [(table.where, cells) for cells in table.rows()]
    measured = [(where, cells) for where, cells in rows if cells["value"]]
    names = [cells["name"] for _, cells in measured]
    _check_columns(table, names)
    values = [_number(where, "value", cells["value"]) for where, cells in measured]
    planned = {cells["name"]: _sigma(where, cells) for where, cells in rows if not cells["value"]}
    matrix = _matrix(table, names, measured)
    if "sigma" not in table.names:
        return Published(tuple(names), np.array(values), matrix, planned, table.place)
    sigmas = [_sigma(where, cells) for where, cells in measured]
    _check_apart(table.place, names)
    pairs = dict(zip(names, zip(values, sigmas, strict=True), strict=True))
    return Published.of(pairs, matrix, planned, table.place)


def _check_columns(table: CsvTable, names: Sequence[str]) -> None:
    more = [name for name in table.names if name not in (*NEEDED, "sigma")]
    for name in more:
        if name not in names:
            raise InputError(
                f"{table.place}: line 1",
                f'the column "{one_line(name[:40])}" is no name of a line with a value, allowed beside name, value and '
                "sigma are those; mend it",
            )
    if "sigma" not in table.names and set(more) != set(names):
        raise InputError(f"{table.place}: line 1", "the column sigma is missing, as is a whole covariance; give one")


def _check_apart(place: str, names: Sequence[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{place}: {name}", "it is given twice, once is allowed; remove one")


def _number(where: str, name: str, text: str) -> float:
    return number_of(where, name, text, -_FARTHEST, _FARTHEST, "")


def _sigma(where: str, cells: dict[str, str]) -> float:
    if not cells.get("sigma"):
        raise InputError(where, f"{one_line(cells['name'][:40])} has no sigma, each number needs one; give it")
    return _number(where, "sigma", cells["sigma"])


def _matrix(table: CsvTable, names: list[str], measured: Sequence[tuple[str, dict[str, str]]]) -> np.ndarray:
    """(m, m) of the further columns; half a matrix is enough."""
    known = np.full((len(names), len(names)), np.nan)
    for i, (where, cells) in enumerate(measured):
        for j, name in enumerate(names):
            if cells.get(name):
                known[i, j] = _number(where, name, cells[name])
    known = np.where(np.isnan(known), known.T, known)
    usual = np.eye(len(names)) if "sigma" in table.names else np.zeros_like(known)
    return np.where(np.isnan(known), usual, known)
