"""A timetable of mutual events as a file: one row for each event, what holds for all of them, and the warnings."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..files.whole import image, put
from ..observing.timetable import Timetable
from ..observing.timetable_rows import COLUMNS, rows, summary
from .groups import Column, write_group
from .provenance import attributes
from .result import refuse_other_kinds

KIND = "events"


def write_timetable(path: str | Path, table: Timetable) -> None:
    """Write a timetable, in place of an older one of that name.  InputError where it cannot."""
    check_target(path)
    found = rows(table)
    columns = {"number": Column.of("number", np.arange(len(found)), "number")}
    for name in COLUMNS:
        columns[name] = Column.of(name, [row[name] for row in found], "number")
    sentences = list(table.warnings)
    warnings = {
        "number": Column.of("number", np.arange(len(sentences)), "number"),
        "warning": Column.of("warning", sentences, "number"),
    }

    def fill(file) -> None:
        file.attrs.update(attributes(table.scenario, KIND))
        write_group(file, "events", columns)
        write_group(file, "summary", {name: Column.of(name, value) for name, value in summary(table).items()})
        write_group(file, "warnings", warnings)

    put(Path(path), image(fill))


def check_target(path: str | Path) -> None:
    """InputError, before anything is computed, where a timetable could not be written, or would replace other work."""
    refuse_other_kinds(path, KIND, "a timetable")
