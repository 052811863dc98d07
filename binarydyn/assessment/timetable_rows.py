"""The timetable as plain rows, one for each event: for tables, CSV, JSON and files, units in the names."""

from __future__ import annotations

from typing import Any

import numpy as np

from .timetable import Timetable

CONTACTS = ("contact1_utc", "contact2_utc", "contact3_utc", "contact4_utc", "mid_utc")
TEXTS = ("side", "kind", "body", "extent", *CONTACTS)


def rows(table: Timetable) -> list[dict[str, Any]]:
    """Every event; None for what it does not have."""
    geometry = table.sky.at(np.array([entry.event.mid_s for entry in table.entries])) if table.entries else None
    found = []
    for i, entry in enumerate(table.entries):
        event = entry.event
        duration = event.duration_s
        found.append(
            {
                "side": entry.side,
                "kind": event.kind,
                "body": event.body,
                "extent": event.extent,
                "cycle": event.cycle,
                **dict(zip(CONTACTS, table.utc(entry), strict=True)),
                "mid_s": event.mid_s,
                "light_time_s": float(geometry.light_time_s[i]),
                "duration_minutes": None if duration is None else duration / 60.0,
                "depth_mag": event.depth_mag,
                "share": event.share,
                "miss_m": event.miss_m,
                "drift_s": entry.drift_s,
                "o_minus_c_s": entry.o_minus_c_s,
                "mid_sigma_s": entry.mid_sigma_s,
                "drift_sigma_s": entry.drift_sigma_s,
                "phase_angle_deg": float(geometry.phase_angle_deg[i]),
                "aspect_deg": float(geometry.aspect_deg[i]),
            }
        )
    return found


def summary(table: Timetable) -> dict[str, Any]:
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
