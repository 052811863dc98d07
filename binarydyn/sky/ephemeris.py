"""Where the Earth is and what its clocks say: time scales, the Earth and a site on it about the Sun, all offline.

From ERFA, the licensed copy of the IAU's SOFA collection (Earth about the Sun to about 1e-7 of its distance, 1900 to
2100: Bretagnon & Francou 1988, A&A 202, 309).  Nothing is downloaded: the Earth's rotation comes from the tables that
astropy brings, beyond them UT1 is taken as UTC (below 0.9 s, 0.4 km on the ground).
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property

import numpy as np

from ..constants import ASTRONOMICAL_UNIT_M, DAY_S
from ..epochs import J2000_JD, TwoPart, iso_of_tdb, split_days, tdb_at, tdb_of_utc
from ..errors import InputError

SERVED_DAYS = 36525.0
"""Before and after J2000: as long as the Earth's ephemeris holds, 1900-01-01 to 2100-01-01, each at 12 h."""
OBLIQUITY_RAD = np.radians(84381.448 / 3600.0)
"""Of the ecliptic J2000 to the equator J2000 (IAU 1976), the one that published elements refer to."""
_TO_ECLIPTIC = np.array(
    [
        [1.0, 0.0, 0.0],
        [0.0, np.cos(OBLIQUITY_RAD), np.sin(OBLIQUITY_RAD)],
        [0.0, -np.sin(OBLIQUITY_RAD), np.cos(OBLIQUITY_RAD)],
    ]
)


@dataclass(frozen=True)
class ObservingSite:
    """A place on the Earth: geodetic longitude (east) and latitude on WGS84, height above it."""

    longitude_deg: float
    latitude_deg: float
    height_m: float = 0.0


@contextmanager
def offline() -> Iterator[None]:
    """No downloads, and no warnings about years whose leap seconds and Earth rotation are not known yet."""
    from astropy.utils import iers

    with (
        iers.conf.set_temp("auto_download", False),
        iers.conf.set_temp("auto_max_age", None),
        iers.conf.set_temp("iers_degraded_accuracy", "ignore"),
        warnings.catch_warnings(),
    ):
        warnings.filterwarnings("ignore", message=".*dubious year.*")
        warnings.filterwarnings("ignore", message=".*polar motion.*")
        warnings.filterwarnings("ignore", message=".*leap-second.*")
        yield


@dataclass(frozen=True)
class Clock:
    """Seconds from an epoch, which is given in UTC; they run as TDB does."""

    epoch_utc: datetime

    @cached_property
    def _epoch(self) -> TwoPart:
        """(1,) of the epoch, TDB."""
        return tdb_at([self.epoch_utc])

    def tdb(self, time_s) -> TwoPart:
        """Julian dates (m,) in TDB of seconds (m,) from the epoch."""
        whole, rest = self._epoch
        days, more = np.divmod(np.asarray(time_s, dtype=float), DAY_S)
        return split_days(whole + days, rest + more / DAY_S)

    def check_served(self, time_s) -> None:
        """InputError where the Earth's place is not known at times (...), s from the epoch."""
        time = np.asarray(time_s, dtype=float)
        days = self._epoch_days + time / DAY_S
        far = np.abs(days) > SERVED_DAYS
        if far.any():
            when = self.utc(time[far][:1])[0]
            raise InputError(
                "impact_epoch_utc",
                f"something seen on {when} is asked for, the Earth's place is served from 1900 to 2100-01-01T12:00; "
                "take another date or fewer days",
            )

    @property
    def _epoch_days(self) -> float:
        """From J2000 to the epoch, TDB."""
        whole, rest = self._epoch
        return float(whole[0] + rest[0]) - J2000_JD

    def utc(self, time_s) -> list[str]:
        """ISO 8601 dates and times, UTC, to a tenth of a second, of seconds (m,) from the epoch."""
        return iso_of_tdb(*self.tdb(np.atleast_1d(time_s)))

    def seconds_at(self, utc: Sequence[datetime]) -> np.ndarray:
        """(m,) seconds from the epoch to moments in UTC."""
        return self._seconds_to(tdb_at([moment.astimezone(UTC) for moment in utc]))

    def seconds_at_julian(self, days, scale: str) -> np.ndarray:
        """(m,) seconds from the epoch to Julian dates (m,) in UTC or TDB, to 40 microseconds."""
        given = split_days(np.asarray(days, dtype=float), np.zeros(len(days)))
        return self._seconds_to(tdb_of_utc(*given) if scale == "utc" else given)

    def _seconds_to(self, tdb: TwoPart) -> np.ndarray:
        (whole, rest), (epoch, of_day) = tdb, self._epoch
        return ((whole - epoch) + (rest - of_day)) * DAY_S


def observer_about_sun_m(clock: Clock, time_s: np.ndarray, site: ObservingSite | None = None) -> np.ndarray:
    """(m, 3), m, from the Sun's centre to the Earth's, or to a site on it, at times (m,); ecliptic J2000.

    InputError beyond SERVED_DAYS.
    """
    from erfa import epv00

    clock.check_served(np.atleast_1d(time_s))
    tdb = clock.tdb(np.atleast_1d(time_s))
    about_sun, _ = epv00(*tdb)
    equatorial = about_sun["p"] * ASTRONOMICAL_UNIT_M
    if site is not None:
        equatorial = equatorial + _on_the_ground_m(site, tdb)
    return equatorial @ _TO_ECLIPTIC.T


def _on_the_ground_m(site: ObservingSite, tdb: TwoPart) -> np.ndarray:
    """(m, 3) from the Earth's centre to a site, equator J2000."""
    from astropy.coordinates import EarthLocation
    from astropy.time import Time
    from astropy.units import deg, m

    place = EarthLocation.from_geodetic(site.longitude_deg * deg, site.latitude_deg * deg, site.height_m * m)
    with offline():
        return place.get_gcrs_posvel(Time(*tdb, format="jd", scale="tdb"))[0].xyz.to_value(m).T
