"""What is described, as numbers: one flat table with units in the names, and the small tables beside it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ..constants import ASTRONOMICAL_UNIT_M, DAY_S, HOUR_S
from ..surroundings import circular_period_h, circular_speed_m_s, lead_years_for_earth_radius, rule_of_thumb_m
from .description import Description

LEAD_YEARS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
RINGS = (2.0, 3.0, 5.0, 10.0, 20.0)
"""Radii of the circular orbits about the system that are told, in separations."""


def description_numbers(described: Description) -> dict[str, Any]:
    """Everything by name, units in the names; None where something is missing (see `missing`)."""
    d = described
    return {
        **_bodies(d),
        "separation_m": d.start.separation_m,
        "period_h": d.start.period_h,
        "mean_motion_rad_s": d.mean_motion_rad_s,
        "orbital_speed_m_s": d.orbital_speed_m_s,
        "total_mass_kg": d.start.system.mass_kg,
        "total_gm_m3_s2": d.gm_m3_s2,
        **{f"{name}_angular_momentum_kg_m2_s": value for name, value in d.angular_momenta_kg_m2_s.items()},
        **_equilibrium(d),
        **_flyby(d),
        "sphere_of_influence_m": d.sphere_of_influence_m,
        **_sunlit(d),
        **_deflection(d),
    }


def _bodies(d: Description) -> dict[str, Any]:
    found: dict[str, Any] = {}
    rows = zip(("primary", "secondary"), d.shapes, d.grounds, d.own_speeds_m_s, d.relative_speeds_m_s(), strict=True)
    for name, shape, ground, own, (least, greatest) in rows:
        values = vars(shape) | {
            "gravity_m_s2": ground.gravity_m_s2,
            "escape_speed_m_s": ground.escape_speed_m_s,
            "system_escape_speed_m_s": ground.system_escape_speed_m_s,
            "rotation_speed_m_s": ground.rotation_speed_m_s,
            "lowest_circular_speed_m_s": ground.lowest_circular_speed_m_s,
            "synchronous_radius_m": ground.synchronous_radius_m,
            "synchronous_says": ground.synchronous_says,
            "room_m": ground.room_m,
            "own_speed_m_s": own,
            "flyby_speed_least_m_s": least,
            "flyby_speed_greatest_m_s": greatest,
        }
        found |= {f"{name}_{key}": value for key, value in values.items()}
    return found


def _equilibrium(d: Description) -> dict[str, Any]:
    found = d.equilibrium
    return {
        "equilibrium_period_h": found and 2.0 * math.pi / found.rate_rad_s / HOUR_S,
        "equilibrium_stable": found and found.stable,
        "equilibrium_minimum_energy": found and found.minimum_energy,
        "equilibrium_branch": found and found.branch,
        "equilibrium_reason": d.equilibrium_reason,
    }


def _flyby(d: Description) -> dict[str, Any]:
    flyby, free = d.flyby, d.flyby_outcome != "contact"
    return {
        "flyby_outcome": d.flyby_outcome,
        "flyby_pericentre_m": flyby.pericentre_m,
        "flyby_eccentricity": flyby.eccentricity,
        "flyby_turn_angle_deg": math.degrees(flyby.turn_rad),
        "flyby_pericentre_speed_m_s": flyby.speed_m_s(flyby.pericentre_m) if free else None,
        "flyby_capture_dv_parabola_m_s": flyby.capture_dv_parabola_m_s() if free else None,
        "flyby_capture_dv_circle_m_s": flyby.capture_dv_circle_m_s() if free else None,
    }


def _sunlit(d: Description) -> dict[str, Any]:
    found = {row.where: vars(row) for row in d.sunlit}
    names = ("distance_m", "hill_radius_m", "solar_flux_w_m2", "terminator_safe_m", "terminator_largest_m")
    return {
        f"{where}_{name}": found[where][name] if where in found else None
        for where in ("perihelion", "impact", "aphelion")
        for name in names
    }


def _deflection(d: Description) -> dict[str, Any]:
    names = ("along_track_um_s", "outward_um_s", "normal_um_s")
    if d.deflection is None:
        found = dict.fromkeys(f"barycentre_{name}" for name in names)
        return found | dict.fromkeys(("heliocentric_period_change_s", "lead_for_earth_radius_years"))
    parts = (d.deflection.along_track_m_s, *d.deflection.radial_normal_m_s)
    return {f"barycentre_{name}": 1e6 * part for name, part in zip(names, parts, strict=True)} | {
        "heliocentric_period_change_s": d.deflection.period_change_s,
        "lead_for_earth_radius_years": lead_years_for_earth_radius(d.deflection.along_track_m_s),
    }


def displacements(d: Description) -> list[dict[str, float]]:
    """For each of LEAD_YEARS the displacement, km, beside the rule of thumb; empty without a deflection."""
    if d.deflection is None:
        return []
    along, total = d.deflection.displacement_m(np.array(LEAD_YEARS))
    rule = rule_of_thumb_m(d.deflection.along_track_m_s, LEAD_YEARS)
    rows = zip(LEAD_YEARS, along / 1e3, total / 1e3, rule / 1e3, strict=True)
    names = ("lead_years", "along_track_km", "total_km", "rule_of_thumb_km")
    return [dict(zip(names, map(float, row), strict=True)) for row in rows]


def element_changes(d: Description) -> dict[str, tuple[float, float]]:
    """Each heliocentric element before the impact and its change, units in the names; empty without a deflection."""
    if d.deflection is None:
        return {}
    before, after = d.deflection.before, d.deflection.after

    def turned(name: str) -> tuple[float, float]:
        change = getattr(after, name) - getattr(before, name)
        return math.degrees(getattr(before, name)), 3.6e9 * math.degrees((change + math.pi) % (2.0 * math.pi) - math.pi)

    angles = ("inclination", "node", "argument_of_pericentre", "mean_anomaly")
    return {
        "semi_major_axis_au_km": (
            before.semi_major_axis_m / ASTRONOMICAL_UNIT_M,
            (after.semi_major_axis_m - before.semi_major_axis_m) / 1e3,
        ),
        "eccentricity": (before.eccentricity, after.eccentricity - before.eccentricity),
        "period_days_s": (2.0 * math.pi / before.mean_motion_rad_s() / DAY_S, d.deflection.period_change_s),
        **{f"{name}_deg_uas": turned(f"{name}_rad") for name in angles},
    }


def rings(d: Description) -> list[dict[str, Any]]:
    """Circular orbits about the system as a point mass, and what may end them; nearer than two separations none
    lasts."""
    found = []
    for radius in (k * d.start.separation_m for k in RINGS):
        found.append(
            {
                "radius_m": radius,
                "speed_m_s": circular_speed_m_s(d.gm_m3_s2, radius),
                "period_h": circular_period_h(d.gm_m3_s2, radius),
                "says": _limit(d, radius),
            }
        )
    return found


def _limit(d: Description, radius_m: float) -> str:
    if not d.sunlit:
        return ""
    nearest = d.sunlit[0]
    if radius_m > 0.5 * nearest.hill_radius_m:
        return "beyond half the Hill radius at perihelion"
    if radius_m > nearest.terminator_largest_m:
        return "escapes at perihelion (solar radiation pressure)"
    return "may escape at perihelion (solar radiation pressure)" if radius_m > nearest.terminator_safe_m else "stable"


SAME_PERIOD = 0.01
"""Relative difference of two periods below which they are those of one motion."""


def modes(d: Description) -> list[dict[str, Any]]:
    """Small motions about the relaxed orbit beside those about the averaged equilibrium, matched by their periods.

    Rates about the relaxed orbit are known modulo the turn of the primary, so its own motions match none.
    """
    relaxed, still = list(d.start.modes), list(d.equilibrium.modes) if d.equilibrium else []
    apart = {
        (i, j): abs(one.period_h / other.period_h - 1.0)
        for i, one in enumerate(relaxed)
        for j, other in enumerate(still)
        if math.isfinite(one.period_h) and math.isfinite(other.period_h)
    }
    partner: dict[int, int] = {}
    for i, j in sorted(apart, key=apart.__getitem__):
        if apart[i, j] < SAME_PERIOD and i not in partner and j not in partner.values():
            partner[i] = j
    rows = [
        _mode(still[partner[i]].name, mode, still[partner[i]]) if i in partner else _mode(mode.name, mode, None)
        for i, mode in enumerate(relaxed)
    ]
    return rows + [_mode(mode.name, None, mode) for j, mode in enumerate(still) if j not in partner.values()]


def _mode(name: str, relaxed: Any, still: Any) -> dict[str, Any]:
    return {
        "name": name,
        "period_h": _period(relaxed),
        "growth_per_orbit": relaxed and relaxed.growth_per_orbit,
        "equilibrium_period_h": _period(still),
        "equilibrium_growth_per_h": still and still.growth_rad_s * HOUR_S,
    }


def _period(mode: Any) -> float | None:
    return mode.period_h if mode and math.isfinite(mode.period_h) else None
