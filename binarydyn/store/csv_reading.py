"""Tables of measurements as CSV files: read with a sentence and a line number for all that is wrong."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from datetime import datetime

from ..epochs import moment
from ..errors import InputError
from ..scenario.reading import opened_file, place_of
from ..scenario.tables.heliocentric import EPOCH_YEARS
from ..scenario.wording import one_line

DAYS_FROM_IMPACT = 3650.0
_LARGEST_BYTES = 1 << 24


class CsvTable:
    """A file's header and its rows, cells as texts without spaces about them.

    what: what the rows are, for sentences.  needed, optional: names of columns that are there, or may be, once.
    InputError for what is no such file.
    """

    def __init__(self, path: str, what: str, needed: Sequence[str]):
        self.place, self.what, self.needed = place_of(path), what, needed
        self._reader = csv.reader(io.StringIO(self._text(path)), strict=True)
        self.names: list[str] = next(self._cells(), [])
        if not self.names:
            raise self._empty()

    def _empty(self) -> InputError:
        wanted = ", ".join(self.needed)
        return InputError(self.place, f"it is empty, a header with {wanted} is needed; give a table of {self.what}")

    def _text(self, path: str) -> str:
        place, what = self.place, self.what
        try:
            with opened_file(path, f"a CSV file of {what}") as stream:
                content = stream.read(_LARGEST_BYTES + 1)
        except InputError:
            raise
        except (OSError, ValueError) as error:
            missing = isinstance(error, FileNotFoundError)
            reason = "no such file" if missing else getattr(error, "strerror", None) or error
            raise InputError(place, f"it cannot be read ({reason}); give a CSV file of {what}") from None
        if len(content) > _LARGEST_BYTES:
            raise InputError(place, f"it is larger than 16 MiB, no campaign has so many {what}; give its table of them")
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = content[: error.start].count(b"\n") + 1
            raise InputError(f"{place}: line {line}", "it is not UTF-8 text, a CSV file is; save it as that") from None
        if "\0" in text:
            raise InputError(place, f"it is a binary file, a CSV file is text; give a table of {what} as CSV")
        if not text.strip():
            raise self._empty()
        return text

    @property
    def where(self) -> str:
        """The place of the line that was read last."""
        return f"{self.place}: line {self._reader.line_num}"

    @property
    def line(self) -> int:
        """Its number."""
        return self._reader.line_num

    def _cells(self) -> Iterator[list[str]]:
        """Those of rows that hold something, an error of the format as a sentence."""
        while True:
            try:
                cells = [cell.strip() for cell in next(self._reader)]
            except StopIteration:
                return
            except csv.Error as error:
                raise InputError(self.where, f"it is no CSV ({error}); mend it") from None
            if any(cells):
                yield cells

    def rows(self) -> Iterator[dict[str, str]]:
        """By the names in the header."""
        for cells in self._cells():
            if len(cells) != len(self.names):
                raise InputError(
                    self.where, f"{len(cells)} cells are given, the header names {len(self.names)}; complete the line"
                )
            yield dict(zip(self.names, cells, strict=True))

    def check_once(self, names: Sequence[str]) -> None:
        """InputError for a column that is there twice."""
        for name in names:
            if self.names.count(name) > 1:
                raise InputError(self.where, f"the column {name} is there twice, once is allowed; remove one")

    @property
    def seems_uncut(self) -> bool:
        """Whether the header's cells are parted by something else than commas."""
        return len(self.names) == 1 and any(mark in self.names[0] for mark in ";\t")


def moment_of(where: str, name: str, text: str) -> datetime:
    """A moment in UTC from a cell.  InputError for another text, and beyond the years that are served."""
    shown = one_line(text[:40])
    try:
        float(text)
    except ValueError:
        pass
    else:
        raise InputError(
            where, f"{name} {shown} is a number, perhaps a Julian date; write UTC such as 2031-05-06T07:08:09.1"
        )
    try:
        found = moment(text)
    except ValueError:
        raise InputError(
            where, f'{name} "{shown}" is given, allowed is a date and time in UTC such as 2031-05-06T07:08:09.1Z'
        ) from None
    low, high = EPOCH_YEARS
    if not low <= found.year <= high:
        raise InputError(where, f"{name} {shown} is given, UTC is served from {low} to {high}; correct the year")
    return found


def number_of(where: str, name: str, text: str, low: float, high: float, unit: str) -> float:
    """A number from a cell.  InputError for another text, and outside low .. high."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        allowed = f"a number of {unit}" if unit else "a number"
        raise InputError(where, f'{name} "{one_line(text[:40])}" is given, allowed is {allowed}, {low:g} .. {high:g}')
    return value
