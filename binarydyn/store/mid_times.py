"""Measured mid-times of mutual events as a CSV file: read with a sentence and a line number for all that is wrong.

Columns: mid_utc (ISO 8601, UTC, as seen), kind (eclipse, occultation, both), body (primary, secondary: the dimmed one);
sigma_s if it is known, timed (what the mid-time is, DEFINITIONS of timing/mid_times.py) and observer (any text: mid-
times of one observer and night share an error); a name that may stand for one of these is refused, others are named in
a warning.
What `events --csv` writes is such a file: events that do not take place there (extent absent), or of which the run
shows a part, are passed over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..errors import ArgumentError, InputError
from ..files.csv_tables import MIDDLES, write_csv
from ..kinds import sure
from ..observing.timetable_rows import COLUMNS
from ..scenario.nearest import nearest
from ..scenario.wording import one_line
from ..sky.dip_causes import MEASURED_KINDS
from ..sky.ephemeris import Clock
from ..sky.events import BODIES
from ..timing.mid_times import DEFINITIONS, SIGMA_S, MidTimes, groups_of, nights_of
from .csv_reading import DAYS_FROM_IMPACT, CsvTable, moment_of, number_of

_MEANT = {
    "timed": ("definition", "middle", "mid", "method", "what"),
    "sigma_s": ("sigma", "error", "error_s", "uncertainty", "uncertainty_s", "err", "err_s", "sd_s"),
    "observer": ("station", "site", "telescope", "observatory", "obs"),
}
"""Names that others give to what stands here under one name."""
NEEDED = MIDDLES
OPTIONAL = ("sigma_s", "timed", "observer")
_KNOWN = {*NEEDED, *OPTIONAL, *COLUMNS}
SAME_EVENT_PERIODS = 0.1
"""Two mid-times of one kind and body that are nearer, in orbit periods, are the same event twice."""
_OTHER_SCALES = ("jd", "mjd", "tdb", "tt", "bjd", "hjd", "tai", "utc_jd")


def read_mid_times(paths: str | Sequence[str], clock: Clock, period_h: float, midnight_s: float = 0.0) -> MidTimes:
    """The mid-times in one file, in the order of time; clock counts from t0.

    midnight_s: one at the site, s from t0, about which its nights lie.  InputError for all that is no such file.
    """
    names = [paths] if isinstance(paths, str) else list(paths)
    if len(names) != 1:
        raise ArgumentError(
            "events", f"{len(names)} files are given, a campaign is one file, one column of times; join them in one"
        )
    table = CsvTable(names[0], "events", NEEDED)
    _check_columns(table)
    place, rows = table.place, [row for cell in table.rows() if (row := _row(table, cell))]
    if not rows:
        raise InputError(place, "no event that takes place is in the file, at least one line is needed; add some")
    mids = replace(_placed(place, rows, clock, midnight_s), warnings=_unused(table))
    _refuse_twice(place, mids, period_h)
    return mids


def write_mid_times(path: str | Path, mids: MidTimes, clock: Clock) -> None:
    """The file that read_mid_times reads.  InputError where it cannot be written, or would replace other work."""
    given = [name for name in OPTIONAL if getattr(mids, name) is not None]
    lines = zip(clock.utc(mids.seen_s), mids.kind, mids.body, *(getattr(mids, name) for name in given), strict=True)
    write_csv(path, NEEDED, [(*NEEDED, *given), *lines])


def _check_columns(table: CsvTable) -> None:
    """InputError where one is missing, or there twice."""
    table.check_once((*NEEDED, *OPTIONAL))
    for name in NEEDED:
        if name not in table.names:
            raise InputError(table.where, _missing(name, table))
    for name in OPTIONAL:
        alike = [n for n in table.names if n not in COLUMNS and (n.lower() in _MEANT[name] or nearest(n, [name]))]
        if name not in table.names and alike:
            raise InputError(
                table.where,
                f"the column {one_line(alike[0][:40])} is not known and would be ignored, is it {name}? name it so, or "
                "take it out",
            )


def _unused(table: CsvTable) -> tuple[str, ...]:
    """A sentence on columns that stand for nothing here, nor in what `events --csv` writes."""
    idle = [one_line(name[:40]) or "without a name" for name in table.names if name not in _KNOWN]
    if not idle:
        return ()
    what = f"column {idle[0]} is" if len(idle) == 1 else f"columns {', '.join(idle)} are"
    return (f"the {what} not used, known are {', '.join((*NEEDED, *OPTIONAL))}",)


def _missing(name: str, table: CsvTable) -> str:
    if table.seems_uncut:
        return f"the column {name} is missing, the cells seem to be parted by something else than commas; use commas"
    others = [n for n in table.names if n not in NEEDED]
    if name == "mid_utc":
        scaled = [n for n in others if set(n.lower().split("_")) & set(_OTHER_SCALES)]
        if scaled:
            return (
                f"the column mid_utc is missing, {one_line(scaled[0][:40])} has another time scale; give the mid-times "
                "in UTC as ISO 8601 writes it"
            )
        timed = [n for n in others if n.lower().startswith(("mid", "time", "date"))]
        if timed:
            return (
                f"the column mid_utc is missing, {one_line(timed[0][:40])} does not say its time scale; name it "
                "mid_utc if it holds UTC"
            )
    near = nearest(name, others)
    hint = f" (is it {one_line(near[:40])}?)" if near else ""
    return f"the column {name} is missing{hint}, {', '.join(NEEDED)} are needed; add it"


def _row(table: CsvTable, cell: dict[str, str]) -> tuple | None:
    """(line, moment, kind, body, sigma or None, timed, observer) of an event; None of one that does not take place, or
    not wholly."""
    where, cell = table.where, {"timed": ""} | cell
    for name, allowed in (("kind", MEASURED_KINDS), ("body", BODIES), ("timed", ("", *DEFINITIONS))):
        if cell[name] not in allowed:
            words = f"{', '.join(filter(None, allowed[:-1]))} or {allowed[-1]}"
            raise InputError(where, f'{name} "{one_line(cell[name][:40])}" is given, allowed is {words}; change it')
    if cell.get("extent") == "absent" or "" in (cell.get("contact1_utc"), cell.get("contact4_utc")):
        return None
    stated, moment_utc = cell.get("sigma_s", ""), moment_of(where, "mid_utc", cell["mid_utc"])
    sigma = number_of(where, "sigma_s", stated, *SIGMA_S, "seconds") if stated else None
    return table.line, moment_utc, cell["kind"], cell["body"], sigma, cell["timed"], cell.get("observer", "")


def _placed(place: str, rows: list[tuple], clock: Clock, midnight_s: float) -> MidTimes:
    lines, moments, kinds, bodies, sigmas, timed, observers = zip(*rows, strict=True)
    missing = [line for line, sigma in zip(lines, sigmas, strict=True) if sigma is None]
    if missing and len(missing) < len(lines):
        raise InputError(f"{place}: line {missing[0]}", "sigma_s is empty but given elsewhere; give it for all or none")
    seen, observer = clock.seconds_at(moments), np.array(observers)
    _refuse_far(place, lines, seen)
    return MidTimes(
        np.array(kinds),
        np.array(bodies),
        seen,
        None if missing else np.array(sigmas),
        np.array(lines),
        np.array([one or DEFINITIONS[0] for one in timed]),
        groups_of(nights_of(seen, midnight_s), observer),
        observer if any(observers) else None,
        np.array([one != "" for one in timed]),
    ).sorted()


def _refuse_far(place: str, lines: Sequence[int], seen: np.ndarray) -> None:
    far = np.abs(seen) > DAYS_FROM_IMPACT * DAY_S
    if far.any():
        line = lines[int(np.argmax(far))]
        raise InputError(
            f"{place}: line {line}",
            f"the event is {seen[np.argmax(far)] / DAY_S:+.0f} days from the impact, {DAYS_FROM_IMPACT:g} are "
            "allowed; check it and impact_epoch_utc",
        )


def _refuse_twice(place: str, mids: MidTimes, period_h: float) -> None:
    """One observer's event given twice; several observers may have seen one."""
    who = np.zeros(len(mids), dtype=int) if mids.observer is None else np.unique(mids.observer, return_inverse=True)[1]
    for kind in MEASURED_KINDS:
        for body, one in product(BODIES, range(who.max() + 1)):
            same = mids.chosen((mids.kind == kind) & (mids.body == body) & (who == one))
            near = np.flatnonzero(np.diff(same.seen_s) < SAME_EVENT_PERIODS * period_h * HOUR_S)
            if len(near):
                one, other = sorted(map(int, sure(same.line)[near[0] : near[0] + 2]))
                raise InputError(
                    f"{place}: line {other}",
                    f"this {kind} of the {body} is already in line {one}, an event may be given once; remove one, or "
                    "give the mean of both",
                )
