"""From a date and time in UTC to the time scale in which bodies move."""

from __future__ import annotations

import warnings
from datetime import UTC, datetime

from .constants import DAY_S
from .errors import InputError

J2000_JD = 2451545.0
"""Julian date of the epoch J2000, 2000-01-01T12:00:00 TDB."""
_J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)


def moment(utc: str) -> datetime:
    """A date and time as ISO 8601 writes it, UTC whether it says so (Z, +00:00) or not; ValueError for others."""
    found = datetime.fromisoformat(utc)
    if len(utc) <= 10 or (found.tzinfo and found.utcoffset()):
        raise ValueError(utc)
    return found.replace(tzinfo=UTC)


def julian_date_tdb(utc: str) -> float:
    """Julian date in TDB of an ISO 8601 date and time in UTC, to 40 microseconds (the last digit of such a number).

    Leap seconds beyond the newest table that astropy brings are unknown: those of its end are used, and the Sun's place
    is off by 30 km for each that is missing.  InputError for a text that is no such time.
    """
    from astropy.time import Time
    from astropy.utils import iers

    with warnings.catch_warnings(), iers.conf.set_temp("auto_download", False):
        warnings.simplefilter("ignore")  # "dubious year" says what the docstring says
        try:
            return float(Time(moment(utc), scale="utc").tdb.jd)
        except ValueError:
            raise InputError(
                "impact_epoch_utc", f'"{utc[:40]}" is given, allowed is an ISO 8601 date and time in UTC; write one'
            ) from None


def seconds_since(epoch_jd_tdb: float, utc: str) -> float:
    """Time, s, from a Julian date in TDB to a moment in UTC."""
    return (julian_date_tdb(utc) - epoch_jd_tdb) * DAY_S


def roughly_seconds_since(epoch_jd_tdb: float, utc: str) -> float:
    """The same to some 70 s, by which UTC lags behind TDB; where the Sun pulls from needs no more, and no astropy."""
    days = (moment(utc) - _J2000).total_seconds() / DAY_S
    return (J2000_JD - epoch_jd_tdb + days) * DAY_S
