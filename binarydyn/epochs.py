"""From a date and time in UTC to the time scale in which bodies move."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime

import numpy as np

from .constants import DAY_S
from .errors import InputError

J2000_JD = 2451545.0
"""Julian date of the epoch J2000, 2000-01-01T12:00:00 TDB."""
TwoPart = tuple[np.ndarray, np.ndarray]
"""Julian dates as whole days and the rest, within half a day: to 1e-11 s."""
_J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)


def moment(utc: str) -> datetime:
    """A date and time as ISO 8601 writes it, UTC whether it says so (Z, +00:00) or not; ValueError for others."""
    found = datetime.fromisoformat(utc)
    if len(utc) <= 10 or (found.tzinfo and found.utcoffset()):
        raise ValueError(utc)
    return found.replace(tzinfo=UTC)


def julian_date_tdb(utc: str) -> float:
    """Julian date in TDB of an ISO 8601 date and time in UTC, to 40 microseconds (the last digit of such a number).

    Leap seconds beyond the newest table that ERFA brings are unknown: those of its end are used, and the Sun's place
    is off by 30 km for each that is missing.  InputError for a text that is no such time.
    """
    try:
        whole, rest = tdb_at([moment(utc)])
    except ValueError:
        raise InputError(
            "impact_epoch_utc", f'"{utc[:40]}" is given, allowed is an ISO 8601 date and time in UTC; write one'
        ) from None
    return float(whole[0] + rest[0])


def seconds_since(epoch_jd_tdb: float, utc: str) -> float:
    """Time, s, from a Julian date in TDB to a moment in UTC."""
    return (julian_date_tdb(utc) - epoch_jd_tdb) * DAY_S


def roughly_seconds_since(epoch_jd_tdb: float, utc: str) -> float:
    """The same to some 70 s, by which UTC lags behind TDB; where the Sun pulls from needs no more, and no tables."""
    days = (moment(utc) - _J2000).total_seconds() / DAY_S
    return (J2000_JD - epoch_jd_tdb + days) * DAY_S


def split_days(days: np.ndarray, more: np.ndarray) -> TwoPart:
    """Their sum, without rounding of the second."""
    whole = np.round(days)
    rest = (days - whole) + more
    over = np.round(rest)
    return whole + over, rest - over


def tdb_at(moments: Sequence[datetime]) -> TwoPart:
    """(m,) of moments in UTC.  ValueError for dates that are none."""
    from erfa import dtf2d

    given = [(at.year, at.month, at.day, at.hour, at.minute, at.second + 1e-6 * at.microsecond) for at in moments]
    with _any_year():
        return tdb_of_utc(*dtf2d("UTC", *map(np.array, zip(*given, strict=True))))


def tdb_of_utc(days: np.ndarray, more: np.ndarray) -> TwoPart:
    """Julian dates in TDB of such in UTC, as ERFA counts the latter."""
    from erfa import taitt, tttdb, utctai

    with _any_year():
        terrestrial = taitt(*utctai(*split_days(days, more)))
        return split_days(*tttdb(*terrestrial, _tdb_less_tt_s(*terrestrial)))


def iso_of_tdb(days: np.ndarray, more: np.ndarray) -> list[str]:
    """ISO 8601 dates and times, UTC, to a tenth of a second, of Julian dates (m,) in TDB."""
    from erfa import d2dtf, taiutc, tdbtt, tttai

    with _any_year():
        terrestrial = tdbtt(days, more, _tdb_less_tt_s(days, more))
        *date, clock = d2dtf("UTC", 1, *taiutc(*tttai(*terrestrial)))
    return [
        f"{year:04d}-{month:02d}-{day:02d}T{of['h']:02d}:{of['m']:02d}:{of['s']:02d}.{of['f']:01d}Z"
        for year, month, day, of in zip(*date, clock, strict=True)
    ]


def _tdb_less_tt_s(days: np.ndarray, more: np.ndarray) -> np.ndarray:
    """At the Earth's centre, of dates in TT, or in TDB, which is near enough to say it."""
    from erfa import dtdb, taiutc, tttai

    universal = split_days(*taiutc(*tttai(days, more)))
    return dtdb(days, more, (universal[1] + 0.5) % 1.0, 0.0, 0.0, 0.0)


@contextmanager
def _any_year() -> Iterator[None]:
    """No warnings about years whose leap seconds are not known."""
    from erfa import ErfaWarning

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ErfaWarning)
        yield
