"""Measured mid-times of mutual events as a CSV file: read with a sentence and a line number for all that is wrong.

Columns: mid_utc (ISO 8601, UTC, as seen), kind (eclipse, occultation, both), body (primary, secondary: the dimmed
one); sigma_s if it is known, timed (what the mid-time is, DEFINITIONS of timing/mid_times.py) and observer (any text:
mid-times of one observer and night share an error); others are ignored.  What `events --csv` writes is such a file:
events that do not take place there (extent absent), or of which the run shows a part, are passed over.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from datetime import datetime
from itertools import product
from pathlib import Path

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..epochs import moment
from ..errors import ArgumentError, InputError
from ..files.csv_tables import MIDDLES, write_csv
from ..kinds import sure
from ..scenario.nearest import nearest
from ..scenario.reading import opened_file, place_of
from ..scenario.tables.heliocentric import EPOCH_YEARS
from ..scenario.wording import one_line
from ..sky.dip_causes import MEASURED_KINDS
from ..sky.ephemeris import Clock
from ..sky.events import BODIES
from ..timing.mid_times import DEFINITIONS, SIGMA_S, MidTimes, groups_of, nights_of

NEEDED = MIDDLES
OPTIONAL = ("sigma_s", "timed", "observer")
DAYS_FROM_IMPACT = 3650.0
SAME_EVENT_PERIODS = 0.1
"""Two mid-times of one kind and body that are nearer, in orbit periods, are the same event twice."""
_EMPTY = f"it is empty, a header with {', '.join(NEEDED)} is needed; give a table of events"
_LARGEST_BYTES = 1 << 24
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
    place = place_of(names[0])
    reader = _reader(place, _text(names[0], place))
    columns = _columns(place, reader)
    rows = [row for row in (_row(place, reader.line_num, columns, cells) for cells in reader) if row]
    if not rows:
        raise InputError(place, "no event that takes place is in the file, at least one line is needed; add some")
    mids = _placed(place, rows, clock, midnight_s)
    _refuse_twice(place, mids, period_h)
    return mids


def write_mid_times(path: str | Path, mids: MidTimes, clock: Clock) -> None:
    """The file that read_mid_times reads.  InputError where it cannot be written, or would replace other work."""
    given = [name for name in OPTIONAL if getattr(mids, name) is not None]
    lines = zip(clock.utc(mids.seen_s), mids.kind, mids.body, *(getattr(mids, name) for name in given), strict=True)
    write_csv(path, NEEDED, [(*NEEDED, *given), *lines])


def _text(path: str, place: str) -> str:
    try:
        with opened_file(path, "a CSV file of events") as stream:
            content = stream.read(_LARGEST_BYTES + 1)
    except InputError:
        raise
    except (OSError, ValueError) as error:
        reason = "no such file" if isinstance(error, FileNotFoundError) else getattr(error, "strerror", None) or error
        raise InputError(place, f"it cannot be read ({reason}); give a CSV file of events") from None
    if len(content) > _LARGEST_BYTES:
        raise InputError(place, "it is larger than 16 MiB, no campaign has so many events; give its table of events")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError(f"{place}: line {line}", "it is not UTF-8 text, a CSV file is; save it as that") from None
    if "\0" in text:
        raise InputError(place, "it is a binary file, a CSV file is text; give a table of events as CSV")
    if not text.strip():
        raise InputError(place, _EMPTY)
    return text


def _reader(place: str, text: str):
    reader = csv.reader(io.StringIO(text), strict=True)

    class Lines:
        """The rows that hold something, an error of the format as a sentence."""

        @property
        def line_num(self) -> int:
            return reader.line_num

        def __iter__(self):
            return self

        def __next__(self) -> list[str]:
            while True:
                try:
                    cells = [cell.strip() for cell in next(reader)]
                except csv.Error as error:
                    raise InputError(f"{place}: line {reader.line_num}", f"it is no CSV ({error}); mend it") from None
                if any(cells):
                    return cells

    return Lines()


def _columns(place: str, reader) -> list[str]:
    """Names in the header."""
    names = next(reader, None)
    if names is None:
        raise InputError(place, _EMPTY)
    line = reader.line_num
    for name in NEEDED:
        if names.count(name) == 1:
            continue
        if name in names:
            raise InputError(f"{place}: line {line}", f"the column {name} is there twice, once is allowed; remove one")
        raise InputError(f"{place}: line {line}", _missing(name, names))
    for name in OPTIONAL:
        if names.count(name) > 1:
            raise InputError(f"{place}: line {line}", f"the column {name} is there twice, once is allowed; remove one")
    return names


def _missing(name: str, names: list[str]) -> str:
    if len(names) == 1 and any(mark in names[0] for mark in ";\t"):
        return f"the column {name} is missing, the cells seem to be parted by something else than commas; use commas"
    others = [n for n in names if n not in NEEDED]
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


def _row(place: str, line: int, names: list[str], cells: list[str]) -> tuple | None:
    """(line, moment, kind, body, sigma or None, timed, observer) of an event; None of one that does not take place, or
    not wholly."""
    where = f"{place}: line {line}"
    if len(cells) != len(names):
        raise InputError(where, f"{len(cells)} cells are given, the header names {len(names)}; complete the line")
    cell = {"timed": ""} | dict(zip(names, cells, strict=True))
    cell["timed"] = cell["timed"] or DEFINITIONS[0]
    for name, allowed in (("kind", MEASURED_KINDS), ("body", BODIES), ("timed", DEFINITIONS)):
        if cell[name] not in allowed:
            words = f"{', '.join(allowed[:-1])} or {allowed[-1]}"
            raise InputError(where, f'{name} "{one_line(cell[name][:40])}" is given, allowed is {words}; change it')
    if cell.get("extent") == "absent" or "" in (cell.get("contact1_utc"), cell.get("contact4_utc")):
        return None
    sigma, moment_utc = _sigma(where, cell.get("sigma_s", "")), _moment(where, cell["mid_utc"])
    return line, moment_utc, cell["kind"], cell["body"], sigma, cell["timed"], cell.get("observer", "")


def _moment(where: str, text: str) -> datetime:
    shown = one_line(text[:40])
    try:
        float(text)
    except ValueError:
        pass
    else:
        raise InputError(
            where, f"mid_utc {shown} is a number, perhaps a Julian date; write UTC such as 2031-05-06T07:08:09.1"
        )
    try:
        found = moment(text)
    except ValueError:
        raise InputError(
            where, f'mid_utc "{shown}" is given, allowed is a date and time in UTC such as 2031-05-06T07:08:09.1Z'
        ) from None
    low, high = EPOCH_YEARS
    if not low <= found.year <= high:
        raise InputError(where, f"mid_utc {shown} is given, UTC is served from {low} to {high}; correct the year")
    return found


def _sigma(where: str, text: str) -> float | None:
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    low, high = SIGMA_S
    if not low <= value <= high:
        raise InputError(
            where,
            f'sigma_s "{one_line(text[:40])}" is given, allowed is a number of seconds, {low:g} .. {high:g}',
        )
    return value


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
        np.array(timed),
        groups_of(nights_of(seen, midnight_s), observer),
        observer if any(observers) else None,
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
