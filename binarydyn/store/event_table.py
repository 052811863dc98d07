"""Mutual events about an impact as a table: one row for each event, what holds for all of them, and the warnings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..files.whole import image, put
from ..kinds import NUMBER, takes
from ..lazy import Lazy
from ..notebook import Displayed, library
from ..observing.timetable import DEFAULT_DAYS, Timetable, timetable
from ..observing.timetable_rows import COLUMNS, event_summary, rows
from ..scenario import Scenario
from .groups import Column, write_group
from .provenance import attributes
from .result import Result, refuse_other_kinds

if TYPE_CHECKING:
    import pandas

KIND = "events"


@dataclass(frozen=True, eq=False, repr=False)
class Events(Lazy, Displayed):
    """What `events` returns, and `open` of a file with a timetable; n events in the order of time, absent ones too.

    columns: arrays (n,) by name; an unknown number is nan, an unknown text is empty.  summary: what holds for all of
    them, by name.
    """

    scenario: Scenario
    columns: Mapping[str, np.ndarray]
    summary: Mapping[str, Any]
    warnings: tuple[str, ...]

    @classmethod
    def of(cls, table: Timetable) -> Events:
        """From the timetable with all that it was made of."""
        found = rows(table)
        columns = {name: Column.of(name, [row[name] for row in found]).values for name in COLUMNS}
        return cls(table.scenario, columns, event_summary(table), table.warnings)

    def __len__(self) -> int:
        return len(self.columns["mid_s"])

    @property
    def status(self) -> str:
        """`completed`, or what ends the table early."""
        return self.summary["status"]

    @property
    def df(self) -> pandas.DataFrame:
        """A pandas table, one event a row, columns in the unit of their name: times in s from t0 and as datetimes (UTC,
        as seen by the observer); unknown numbers are nan, unknown times NaT.
        """
        pandas = library("pandas", "df")
        is_time = {name for name in self.columns if name.endswith("_utc")}
        columns = {
            name: pandas.to_datetime(pandas.Series(values).replace("", None)) if name in is_time else values
            for name, values in self.columns.items()
        }
        return pandas.DataFrame(columns)

    def _line(self) -> str:
        seen = int(np.sum(self.columns["extent"] != "absent"))
        days = self.summary["days"]
        return f"{len(self)}: {seen} take place; {days:g} days before and after the impact, {self.status}"

    def _facts(self) -> dict[str, Any]:
        return dict(self.summary)


@takes(scenario="Scenario", days=NUMBER)
def events(scenario: Scenario, days: float = DEFAULT_DAYS) -> Events:
    """When the bodies eclipse and hide each other, before and after the impact, and how far the impact shifts that.

    Parameters
    ----------
    scenario : with an epoch of the impact, the pole of the mutual orbit and the orbit about the Sun.
    days : before t0 and as many after it, 0.1 to 3650.

    Returns
    -------
    Events, whose `.df` has one row an event.

    Raises
    ------
    InputError where the scenario does not say where the system is; ConvergenceError as `build`.  Contact and escape end
    the table early and are its status.

    Examples
    --------
    >>> import binarydyn as bd
    >>> found = bd.events(bd.example(), days=2)
    >>> found
    <Events 20: 20 take place; 2 days before and after the impact, completed>
    >>> found.df["mid_s"].head(2).round().tolist()
    [-159369.0, -140612.0]
    """
    return Events.of(timetable(scenario, float(days)))


def stored_events(result: Result) -> Events:
    """The events in a file."""
    return Events.lazily(
        scenario=lambda: result.scenario,
        columns=lambda: {name: values for name, values in result.events.items() if name != "number"},
        summary=lambda: result.summary,
        warnings=lambda: result.warnings,
    )


def write_events(path: str | Path, found: Events) -> None:
    """Write events, in place of older ones of that name.  InputError where it cannot."""
    check_events_target(path)
    columns = {"number": Column.of("number", np.arange(len(found)), "number")}
    columns |= {name: Column(("number",), values) for name, values in found.columns.items()}
    sentences = list(found.warnings)
    warnings = {
        "number": Column.of("number", np.arange(len(sentences)), "number"),
        "warning": Column.of("warning", sentences, "number"),
    }

    def fill(file) -> None:
        file.attrs.update(attributes(found.scenario, KIND))
        write_group(file, "events", columns)
        write_group(file, "summary", {name: Column.of(name, value) for name, value in found.summary.items()})
        write_group(file, "warnings", warnings)

    put(Path(path), image(fill))


def check_events_target(path: str | Path) -> None:
    """InputError, before anything is computed, where events could not be written, or would replace other work."""
    refuse_other_kinds(path, KIND, "a timetable")
