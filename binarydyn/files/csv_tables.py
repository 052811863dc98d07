"""Tables as CSV files: they replace older tables, no other work, and the old one stays until the new one is whole."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..scenario.reading import place_of
from .whole import check_place, put, target_of

MIDDLES = ("mid_utc", "kind", "body")
TIMETABLE = ("side", "kind", "body", "extent")
LIGHT_CURVE = ("seen_utc", "time_s", "side", "magnitude")
MEASURED_LIGHT = ("seen_utc", "magnitude", "sigma_mag")
"""How the heads of our tables begin: so an older table is known by its first line."""
_FIRST_LINE = 4096


def check_csv(path: str | Path, head: Sequence[str]) -> None:
    """InputError, before anything is computed, where a table could not be written, or would replace other work.

    head: how that of the table begins.
    """
    check_place(path)
    place, target = place_of(path), target_of(path)
    if not target.exists():
        return
    if Path(path).suffix.lower() != ".csv" and not _begins(target, head):
        raise InputError(
            place,
            "it holds something else, allowed is a new file, one that ends in .csv, or a table that begins "
            f"with {','.join(head)}; name another file",
        )


def _begins(path: Path, head: Sequence[str]) -> bool:
    try:
        with path.open("rb") as stream:
            line = stream.readline(_FIRST_LINE)
    except OSError:
        return False
    names = line.decode("utf-8-sig", errors="replace").strip().split(",")
    return names[: len(head)] == list(head)


def write_rows(
    path: str | Path, head: Sequence[str], rows: Sequence[Mapping[str, Any]], names: Sequence[str] = ()
) -> None:
    """Rows with the same names, which begin with `head`; names: all of them, where there may be no row.

    Errors as in check_csv, and where the disk refuses.
    """
    names = list(names or (rows[0] if rows else head))
    write_csv(path, head, [names, *([row[name] for name in names] for row in rows)])


def write_csv(path: str | Path, head: Sequence[str], lines: Iterable[Sequence[Any]]) -> None:
    """Lines, the one with the names first.  Errors as in check_csv, and where the disk refuses."""
    check_csv(path, head)
    text = io.StringIO(newline="")
    csv.writer(text).writerows(lines)
    put(Path(path), text.getvalue().encode())
