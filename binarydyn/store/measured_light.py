"""Measured light as a CSV file: read with a sentence and a line number for all that is wrong.

Columns: one of TIMES; magnitude and sigma_mag, or flux and sigma_flux (in any unit); filter, observer and night (any
texts) if they are known.  seen_.. are times on the observer's clock, system_.. those from which the light time to the
observer is taken off already; .._utc as ISO 8601 writes it, .._jd_utc and .._jd_tdb Julian dates.  Nights are those
from noon to noon at the site where none are given; each night, filter and observer has its own zero point.  Other
columns are ignored: what `light-curve --csv` writes with noise is such a file.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ..constants import DAY_S
from ..errors import InputError
from ..files.csv_tables import MEASURED_LIGHT, write_csv
from ..kinds import sure
from ..photometry.measured_light import SIGMA_MAG, MeasuredLight, magnitudes_of
from ..scenario.nearest import nearest
from ..scenario.wording import one_line
from ..sky.geometry import Sight, Sky
from ..timing.mid_times import nights_of
from .csv_reading import DAYS_FROM_IMPACT, CsvTable, moment_of, number_of

TIMES = ("seen_utc", "seen_jd_utc", "seen_jd_tdb", "system_utc", "system_jd_utc", "system_jd_tdb")
BRIGHTNESS = (("magnitude", "sigma_mag"), ("flux", "sigma_flux"))
LABELS = ("filter", "observer", "night")
MOST_POINTS = 100_000
_WORDS = (", ".join(TIMES[:-1]) + f" or {TIMES[-1]}", " or ".join(" and ".join(names) for names in BRIGHTNESS))
_JULIAN = (2415021.0, 2488069.0)
"""Of 1900 to 2099."""
_MAGNITUDE, _FLUX = (-100.0, 100.0), (1e-200, 1e200)
_MARGIN_S = 7200.0


def read_light(path: str, sky: Sky, midnight_s: float = 0.0) -> MeasuredLight:
    """The points of one file, in the order of time at the system, s from t0.

    midnight_s: one at the site, s from t0, about which its nights lie.  InputError for all that is no such file.
    """
    table = CsvTable(path, "measured light", MEASURED_LIGHT)
    time, brightness = _named(table)
    rows: list[tuple] = []
    for cell in table.rows():
        if len(rows) == MOST_POINTS:
            raise InputError(table.where, f"more than {MOST_POINTS} points are given, so many are allowed; bin them")
        when, labels = _instant(table.where, time, cell[time]), (cell.get(name, "") for name in LABELS)
        rows.append((table.line, when, *_point(table.where, brightness, cell), *labels))
    if not rows:
        raise InputError(table.place, "no point is in the file, at least one line is needed; add some")
    return _placed(table.place, time, rows, sky, midnight_s)


def write_light(path: str | Path, light: MeasuredLight, sky: Sky, origin: str) -> None:
    """The file that read_light reads, with a column that says where the points come from.

    InputError where it cannot be written, or would replace other work.
    """
    seen = sky.observed_utc(light.time_s)
    shown = ([f"{value:.6f}" for value in column] for column in (light.magnitude, light.sigma_mag))
    lines = zip(seen, *shown, *(getattr(light, name) for name in LABELS), [origin] * len(light), strict=True)
    write_csv(path, MEASURED_LIGHT, [(*MEASURED_LIGHT, *LABELS, "origin"), *lines])


def _named(table: CsvTable) -> tuple[str, tuple[str, str]]:
    """The columns of time and of brightness."""
    table.check_once((*TIMES, *(name for names in BRIGHTNESS for name in names), *LABELS))
    times = [name for name in TIMES if name in table.names]
    both = [names for names in BRIGHTNESS if set(names) <= set(table.names)]
    if len(times) == 1 and len(both) == 1:
        return times[0], both[0]
    raise InputError(table.where, _too_many(times, both) or _missing(table, bool(times)))


def _too_many(times: Sequence[str], both: Sequence[Sequence[str]]) -> str:
    if len(times) > 1:
        return f"the columns {times[0]} and {times[1]} are both there, one of times is allowed; remove one"
    if times and len(both) > 1:
        return "magnitudes and fluxes are both there, one of them is allowed; remove one"
    return ""


def _missing(table: CsvTable, has_time: bool) -> str:
    if table.seems_uncut:
        return "the cells seem to be parted by something else than commas, a CSV file has these; use commas"
    if has_time:
        return f"there is no brightness with its error, {_WORDS[1]} is needed; add it"
    others = {name.lower(): name for name in table.names if name not in LABELS}
    barycentric = [name for low, name in others.items() if {"bjd", "hjd"} & set(low.split("_"))]
    if barycentric:
        return (
            f"the column {one_line(barycentric[0][:40])} has times at the barycentre or at the Sun, allowed are those "
            f"of the observer or of the system, {_WORDS[0]}; convert them"
        )
    near = [name for low, name in others.items() if nearest(low, TIMES) or low in ("jd", "mjd", "utc", "time", "date")]
    hint = f" (is it {one_line(near[0][:40])}, without a place or a time scale?)" if near else ""
    return f"there is no column of times{hint}, {_WORDS[0]} is needed; add it"


def _instant(where: str, name: str, text: str):
    """A moment in UTC, or a Julian date."""
    return number_of(where, name, text, *_JULIAN, "days") if "_jd_" in name else moment_of(where, name, text)


def _point(where: str, names: tuple[str, str], cell: dict[str, str]) -> tuple[float, float]:
    """Magnitude and its one sigma."""
    of_flux = names != BRIGHTNESS[0]
    low, high = _FLUX if of_flux else _MAGNITUDE
    value = number_of(where, names[0], cell[names[0]], low, high, "" if of_flux else "magnitudes")
    if not of_flux:
        return value, number_of(where, names[1], cell[names[1]], *SIGMA_MAG, "magnitudes")
    low, high = (value * share for share in SIGMA_MAG)
    sigma = number_of(where, names[1], cell[names[1]], low, high, "")
    magnitude, sigma_mag = magnitudes_of(np.array([value]), np.array([sigma]))
    return float(magnitude[0]), float(sigma_mag[0])


def _placed(place: str, name: str, rows: list[tuple], sky: Sky, midnight_s: float) -> MeasuredLight:
    lines, instants, magnitude, sigma, filters, observers, nights = zip(*rows, strict=True)
    given = _seconds(name, instants, sky)
    far = int(np.argmax(np.abs(given)))
    if abs(given[far]) > DAYS_FROM_IMPACT * DAY_S:
        raise InputError(
            f"{place}: line {lines[far]}",
            f"the point is {given[far] / DAY_S:+.0f} days from the impact, {DAYS_FROM_IMPACT:g} are allowed; check it "
            "and impact_epoch_utc",
        )
    at_system, seen = _both_times(given, sky, name.startswith("system"))
    usual = [f"{number:d}" for number in nights_of(seen, midnight_s)]
    night = [text or number for text, number in zip(nights, usual, strict=True)]
    columns = (np.array(part) for part in (magnitude, sigma, filters, observers, night, lines))
    light = MeasuredLight(at_system, *columns).sorted()
    _refuse_same(place, light)
    return light


def _seconds(name: str, instants: Sequence, sky: Sky) -> np.ndarray:
    """(m,) s from t0, of times that may be the observer's."""
    if "_jd_" not in name:
        return sky.clock.seconds_at(instants)
    return sky.clock.seconds_at_julian(instants, name.rpartition("_")[2])


def _both_times(given: np.ndarray, sky: Sky, at_system: bool) -> tuple[np.ndarray, np.ndarray]:
    """(m,) s from t0 at the system and on the observer's clock."""
    first, last = float(given.min()), float(given.max())
    delay = float(sky.at([first]).light_time_s[0])
    sight = Sight(sky, first - 1.2 * delay - _MARGIN_S, last + _MARGIN_S)
    return (given, given + sight.light_time_s(given)) if at_system else (sight.left_s(given), given)


def _refuse_same(place: str, light: MeasuredLight) -> None:
    """One observer's point through one filter given twice."""
    seen: dict[tuple, int] = {}
    keys = zip(light.time_s.tolist(), light.filter, light.observer, strict=True)
    for key, line in zip(keys, map(int, sure(light.line)), strict=True):
        if key in seen:
            one, other = sorted((seen[key], line))
            raise InputError(
                f"{place}: line {other}",
                f"this instant is already in line {one}, an observer has one point through a filter; remove one",
            )
        seen[key] = line
