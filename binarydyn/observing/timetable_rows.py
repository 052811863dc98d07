"""The timetable as plain rows, one for each event: for tables, CSV, JSON and files, units in the names."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..sky.events import KINDS, Dip
from ..sky.geometry import Geometry
from .timetable import Timetable

CONTACTS = ("contact1_utc", "contact2_utc", "contact3_utc", "contact4_utc", "mid_utc")
CONTACTS_S = ("contact1_s", "contact2_s", "contact3_s", "contact4_s")
COLUMNS: tuple[str, ...] = (
    "side",
    "kind",
    "body",
    "extent",
    "cycle",
    *CONTACTS,
    *CONTACTS_S,
    "mid_s",
    "light_time_s",
    "duration_minutes",
)
COLUMNS += ("depth_mag", "share", "miss_m", "shift_s", "o_minus_c_s", "mid_time_sigma_s", "shift_sigma_s")
COLUMNS += ("phase_angle_deg", "aspect_deg")
DIP = ("dip_kind", "dip_mid_utc", "dip_mid_s", "dip_law_spread_s", "dip_minimum_s", "dip_depth_mag")
COLUMNS += (*DIP, "timed")
"""Of a row, in their order; a table without a row has them too."""
TIMED = "contacts"
"""What mid_utc is, as tables of mid-times say it (timing/mid_times.py)."""
POLAR_DEG = 1.0
"""From the pole: nearer, the height over the plane of the sky is that of the orbit's wobble, not of its turns."""


def rows(table: Timetable) -> list[dict[str, Any]]:
    """Every event; None for what it does not have."""
    if not table.entries:
        return []
    geometry = table.sky.at(np.array([entry.event.mid_s for entry in table.entries]))
    dips = [entry.event.dip for entry in table.entries]
    seen = table.seen_utc([None if dip is None else dip.mid_s for dip in dips])
    return [
        dict(zip(COLUMNS, (*_row(table, geometry, i), *_dip(dips[i], seen[i]), TIMED), strict=True))
        for i in range(len(table.entries))
    ]


def _row(table: Timetable, geometry: Geometry, i: int) -> tuple[Any, ...]:
    entry = table.entries[i]
    event, duration = entry.event, entry.event.duration_s
    return (
        entry.side,
        event.kind,
        event.body,
        event.extent,
        event.cycle,
        *table.utc(entry),
        *event.contacts_s,
        event.mid_s,
        float(geometry.light_time_s[i]),
        None if duration is None else duration / 60.0,
        event.depth_mag,
        event.share,
        event.miss_m,
        entry.shift_s,
        entry.o_minus_c_s,
        entry.mid_time_sigma_s,
        entry.shift_sigma_s,
        float(geometry.phase_angle_deg[i]),
        float(geometry.aspect_deg[i]),
    )


def _dip(dip: Dip | None, seen_utc: str | None) -> tuple[Any, ...]:
    """Of both scattering laws the mean, and by how much Lambert's centroid is later."""
    if dip is None:
        return (None,) * len(DIP)
    return dip.kind, seen_utc, dip.mid_s, dip.spread_s, float(np.mean(dip.minimum_s)), float(np.mean(dip.depth_mag))


def without_conjunction(table: Timetable) -> list[str]:
    """Why the table has no conjunction of a kind: it is too short, or the orbit is seen or lit from its pole."""
    found = {kind for entry in table.entries for kind, *_ in entry.event.causes}
    return [_why_none(table, kind) for kind in KINDS if kind not in found]


def _why_none(table: Timetable, kind: str) -> str:
    """Decided by the elevation of the Sun (of the observer) over the orbit's plane at t0: beyond the arc sine of both
    bodies' reach over their distance the outlines pass each other.
    """
    g, system = table.geometry, table.start.system
    who, done = ("Sun", "lit") if kind == "eclipse" else ("observer", "seen")
    aspect = float((g.solar_aspect_deg if kind == "eclipse" else g.aspect_deg)[0])
    above = abs(90.0 - aspect)
    if above > 90.0 - POLAR_DEG:
        return f"the orbit is {done} from its pole, to {90.0 - above:.2g} deg: no {kind} takes place"
    reach = (system.primary.bounding_radius_m + system.secondary.bounding_radius_m) / table.start.separation_m
    limit = float(np.degrees(np.arcsin(min(reach, 1.0))))
    may = "so there may be some" if above <= limit else "so there is none"
    return (
        f"no conjunction for an {kind} within {table.days:g} days of t0, where an orbit takes "
        f"{table.start.period_h:.4g} h; {kind}s take the {who} within {limit:.1f} deg of the orbit's plane, it is "
        f"{above:.1f} deg away, {may}"
    )


def event_summary(table: Timetable) -> dict[str, Any]:
    """What holds for the whole table."""
    g = table.geometry
    return {
        "status": table.status,
        "impact": table.impact.status,
        "days": table.days,
        "sunlight": table.scenario.observer.sunlight,
        "impact_epoch_utc": table.scenario.impact_epoch_utc,
        "impact_seen_utc": table.sky.observed_utc([0.0])[0],
        "light_time_s": float(g.light_time_s[0]),
        "phase_angle_deg": float(g.phase_angle_deg[0]),
        "aspect_deg": float(g.aspect_deg[0]),
        "solar_aspect_deg": float(g.solar_aspect_deg[0]),
        "sun_distance_au": float(g.sun_distance_au[0]),
        "observer_distance_au": float(g.observer_distance_au[0]),
        "period_before_h": table.period_before_h,
        "period_after_h": table.period_after_h,
    }


def period_words(table: Timetable, form: str) -> str:
    """The sidereal periods before and after the impact; where the table is too short for one, that."""
    told = (("before", table.period_before_h), ("after", table.period_after_h))
    known = [f"{format(hours, form)} h {side}" for side, hours in told if hours is not None]
    unknown = [side for side, hours in told if hours is None]
    if not known:
        return "no sidereal period: too short a table"
    return f"sidereal period {', '.join(known)}" + (f" (too short a table {unknown[0]})" if unknown else "")
