"""Where the Earth is and what its clocks say: time scales, the Earth and a site on it about the Sun, all offline.

From astropy's built-in ephemeris (Earth about the Sun to about 1e-7 of its distance, 1900 to 2100: Bretagnon & Francou
1988, A&A 202, 309, as used by the IAU's SOFA collection; ERFA is its licensed copy, which astropy brings).  Nothing is
downloaded: the Earth's rotation comes from the tables in the installed package, beyond them UT1 is taken as UTC (below
0.9 s, 0.4 km on the ground).
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ..constants import ASTRONOMICAL_UNIT_M, DAY_S
from ..epochs import J2000_JD
from ..errors import InputError

if TYPE_CHECKING:
    from astropy.time import Time

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

    def at(self, time_s) -> Time:
        """astropy times (TDB) of seconds (...) from the epoch."""
        from astropy.time import Time, TimeDelta

        with offline():
            epoch = Time(self.epoch_utc.replace(tzinfo=None), scale="utc", format="datetime").tdb
            return epoch + TimeDelta(np.asarray(time_s, dtype=float), format="sec", scale="tdb")

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

    @cached_property
    def _epoch_days(self) -> float:
        """From J2000 to the epoch, TDB."""
        return float(self.at(0.0).tdb.jd) - J2000_JD

    def utc(self, time_s) -> list[str]:
        """ISO 8601 dates and times, UTC, to a tenth of a second, of seconds (m,) from the epoch."""
        with offline():
            moments = self.at(np.atleast_1d(time_s)).utc
            moments.precision = 1
            return [f"{text}Z" for text in moments.isot]

    def seconds_at(self, utc: Sequence[datetime]) -> np.ndarray:
        """(m,) seconds from the epoch to moments in UTC."""
        from astropy.time import Time

        with offline():
            times = Time([moment.astimezone(UTC).replace(tzinfo=None) for moment in utc], scale="utc")
            return (times.tdb - self.at(0.0)).sec

    def seconds_at_julian(self, days, scale: str) -> np.ndarray:
        """(m,) seconds from the epoch to Julian dates (m,) in UTC or TDB, to 40 microseconds."""
        from astropy.time import Time

        with offline():
            return (Time(np.asarray(days, dtype=float), format="jd", scale=scale).tdb - self.at(0.0)).sec


def observer_about_sun_m(clock: Clock, time_s: np.ndarray, site: ObservingSite | None = None) -> np.ndarray:
    """(m, 3), m, from the Sun's centre to the Earth's, or to a site on it, at times (m,); ecliptic J2000.

    InputError beyond SERVED_DAYS.
    """
    from erfa import epv00

    clock.check_served(np.atleast_1d(time_s))
    time = clock.at(np.atleast_1d(time_s))
    about_sun, _ = epv00(time.jd1, time.jd2)  # astropy's own call asks it for either body, at twice the time
    equatorial = about_sun["p"] * ASTRONOMICAL_UNIT_M
    if site is not None:
        equatorial = equatorial + _on_the_ground_m(site, time)
    return equatorial @ _TO_ECLIPTIC.T


def _on_the_ground_m(site: ObservingSite, time: Time) -> np.ndarray:
    """(m, 3) from the Earth's centre to a site, equator J2000."""
    from astropy.coordinates import EarthLocation
    from astropy.units import deg, m

    place = EarthLocation.from_geodetic(site.longitude_deg * deg, site.latitude_deg * deg, site.height_m * m)
    with offline():
        return place.get_gcrs_posvel(time)[0].xyz.to_value(m).T
