"""`binarydyn describe`: everything that follows from a scenario without running it, on one screen."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from ..constants import ASTRONOMICAL_UNIT_M
from ..kinds import sure
from ..prediction.description import Description
from ..prediction.description import describe as derived
from ..prediction.description_numbers import description_numbers, displacements, element_changes, modes, rings
from ..prediction.outcomes import OUTCOMES
from ..scenario.wording import CAUTION
from ..terminal.options import File, Json, scenario_of
from ..terminal.progress import say_if_cold
from ..terminal.tables import check_outputs, number_cell, print_json, print_table, told_after

_BODY_ROWS = (
    ("mass", "kg", "mass_kg", ".4e"),
    ("GM", "m3/s2", "gm_m3_s2", ".5g"),
    ("density", "kg/m3", "density_kg_m3", ".1f"),
    ("mean radius", "m", "radius_m", ".2f"),
    ("J2", "", "j2", ".5f"),
    ("C22", "", "c22", ".5f"),
    ("surface gravity", "m/s2", "gravity_m_s2", ".3e"),
    ("equatorial rotation speed", "m/s", "rotation_speed_m_s", ".4f"),
    ("surface circular speed", "m/s", "lowest_circular_speed_m_s", ".4f"),
    ("escape speed, isolated", "m/s", "escape_speed_m_s", ".4f"),
    ("escape speed, in the system", "m/s", "system_escape_speed_m_s", ".4f"),
    ("synchronous radius", "m", "synchronous_radius_m", ".1f"),
    ("Hill radius about the primary", "m", "room_m", ".1f"),
    ("speed about the barycentre", "m/s", "own_speed_m_s", ".4f"),
    ("spin angular momentum", "kg m2/s", "angular_momentum_kg_m2_s", ".4e"),
)
_SUN_ROWS = (
    ("distance from the Sun", "au", "distance_m", ".4f"),
    ("Hill radius", "km", "hill_radius_m", ".2f"),
    ("solar flux", "W/m2", "solar_flux_w_m2", ".1f"),
    ("terminator orbit: always bound below", "km", "terminator_safe_m", ".2f"),
    ("terminator orbit: none above", "km", "terminator_largest_m", ".2f"),
)


def describe(
    file: File = "",
    as_json: Json = False,
    plot: Annotated[str, typer.Option("--plot", help="Write a figure to scale (.png, .pdf or .svg).")] = "",
) -> None:
    """Relax and calibrate, and print what follows."""
    scenario = scenario_of(file)
    check_outputs({"--plot": plot}, scenario, file)
    say_if_cold()
    described = derived(scenario)
    found = description_numbers(described)
    with told_after(lambda: print_json(_plain(described, found)) if as_json else _print(described, found)):
        if plot:
            from ..plots import save_description

            save_description(plot, described)


def _warnings(described: Description) -> tuple[str, ...]:
    said = described.start.warnings
    if described.scenario.kind_of_impact != "none":
        said += described.impact.warnings
    return said


def _plain(described: Description, found: dict[str, Any]) -> dict[str, Any]:
    return {
        **found,
        "modes": modes(described),
        "circular_orbits": rings(described),
        "heliocentric_missing": _missing(described),
        "heliocentric_elements_and_changes": element_changes(described),
        "displacements": displacements(described),
        "calibration": {"solved_for": described.start.solved_for, "mass_factor": described.start.mass_factor},
        "scenario": described.scenario.name,
        "scenario_sha256": described.scenario.sha256,
        "warnings": list(_warnings(described)),
        "caution": CAUTION,
    }


def _missing(described: Description) -> dict[str, str]:
    """What is not known for want of what."""
    lacks = {} if described.sunlit else {"hill_radius_m, sphere_of_influence_m, solar_flux, terminator orbits": _ORBIT}
    if described.deflection_missing:
        lacks["effect on the heliocentric orbit"] = described.deflection_missing
    return lacks


_ORBIT = "[heliocentric_orbit]"


def _print(described: Description, found: dict[str, Any]) -> None:
    print(f"{described.scenario.name or 'scenario'} ({described.scenario.place})")
    _print_pair(described, found)
    _print_modes(described, found)
    _print_near(described, found)
    if described.sunlit:
        _print_sun(described)
    if described.deflection:
        _print_deflection(described, found)
    for what, need in _missing(described).items():
        print(f"not computed: {what.replace('_m,', ',').replace('_', ' ')} (needs {need})")
    for sentence in _warnings(described):
        print(f"warning: {sentence}")
    print(CAUTION)


def _print_pair(described: Description, found: dict[str, Any]) -> None:
    rows = [
        (name, unit, *(number_cell(_told(found, body, key), form) for body in ("primary", "secondary")))
        for name, unit, key, form in _BODY_ROWS
    ]
    print_table(("", "unit", "primary", "secondary"), rows)
    for body in ("primary", "secondary"):
        if found[f"{body}_synchronous_says"]:
            print(f"synchronous radius of the {body}: {found[f'{body}_synchronous_says']}")
    print(
        f"system: {OUTCOMES['total_mass_kg'].said(found['total_mass_kg'])}, GM {found['total_gm_m3_s2']:.5g} m3/s2, "
        f"{described.start.solved_for} calibrated (masses times {described.start.mass_factor:.5f})"
    )
    print(
        f"mutual orbit: a {found['separation_m']:.2f} m, P {found['period_h']:.6f} h, "
        f"n {found['mean_motion_rad_s']:.5e} rad/s, v {found['orbital_speed_m_s']:.5f} m/s"
    )
    total = found["total_angular_momentum_kg_m2_s"]
    shares = ", ".join(
        f"{name} {100.0 * found[f'{name}_angular_momentum_kg_m2_s'] / total:.2f} %"
        for name in ("orbit", "primary", "secondary")
    )
    print(f"angular momentum along the orbit normal {total:.4e} kg m2/s: {shares}\n")


def _told(found: dict[str, Any], body: str, key: str) -> float | None:
    """A number of a body; the other one takes over nowhere where the room is all of the separation."""
    value = found[f"{body}_{key}"]
    return None if key == "room_m" and value >= found["separation_m"] else value


def _print_modes(described: Description, found: dict[str, Any]) -> None:
    rows = [
        (
            row["name"].replace("_", " "),
            number_cell(row["period_h"], ".4f"),
            number_cell(row["growth_per_orbit"], ".4f"),
            number_cell(row["equilibrium_period_h"], ".4f"),
        )
        for row in modes(described)
    ]
    print_table(("normal mode", "period, h", "growth per orbit", "at equilibrium, h"), rows)
    print("frequencies about the relaxed orbit are modulo the primary's synodic spin rate")
    if described.equilibrium is None:
        print(f"no relative equilibrium of the averaged primary: {found['equilibrium_reason']}\n")
        return
    steady = "linearly stable" if found["equilibrium_stable"] else "linearly unstable"
    least = "minimum energy" if found["equilibrium_minimum_energy"] else "not minimum energy: dissipation ends it"
    print(
        f"equilibrium with the primary averaged over its spin: {steady}, {found['equilibrium_branch']} branch, "
        f"{least}; "
        f"P {found['equilibrium_period_h']:.6f} h\n"
    )


def _print_near(described: Description, found: dict[str, Any]) -> None:
    rows = [
        (f"{row['radius_m']:.0f}", f"{row['speed_m_s']:.4f}", f"{row['period_h']:.2f}", row["says"])
        for row in rings(described)
    ]
    print_table(("circular orbit about the system, m", "m/s", "h", ""), rows)
    craft = described.scenario.spacecraft
    speeds = ", ".join(
        f"{least:.4f} to {greatest:.4f} m/s to the {body}"
        for body, (least, greatest) in zip(("primary", "secondary"), described.relative_speeds_m_s(), strict=True)
    )
    print(
        f"flyby: v_inf {craft.speed_at_infinity_m_s:g} m/s, impact parameter {craft.impact_parameter_m:g} m; "
        f"pericentre "
        f"{found['flyby_pericentre_m']:.1f} m, e {found['flyby_eccentricity']:.4f}, "
        f"turn angle {found['flyby_turn_angle_deg']:.2f} deg ({_OUTCOMES[found['flyby_outcome']]})"
    )
    print(f"  at {craft.distance_m:g} m: {described.flyby.speed_m_s(craft.distance_m):.4f} m/s; relative {speeds}")
    if found["flyby_pericentre_speed_m_s"] is not None:
        print(
            f"  at pericentre {found['flyby_pericentre_speed_m_s']:.4f} m/s; capture delta-v "
            f"{found['flyby_capture_dv_parabola_m_s']:.4f} m/s (parabolic), "
            f"{found['flyby_capture_dv_circle_m_s']:.4f} m/s "
            "(circle)"
        )
    print()


_OUTCOMES = {
    "contact": "contact with the primary",
    "inside": "passes between the bodies; point-mass model not valid",
    "free": "no contact",
}


def _print_sun(described: Description) -> None:
    scales = {"au": ASTRONOMICAL_UNIT_M, "km": 1e3}
    rows = [
        (name, unit, *(number_cell(getattr(place, key) / scales.get(unit, 1.0), form) for place in described.sunlit))
        for name, unit, key, form in _SUN_ROWS
    ]
    print_table(("along the heliocentric orbit", "unit", *(place.where for place in described.sunlit)), rows)
    craft = described.scenario.spacecraft
    print(
        f"sphere of influence {sure(described.sphere_of_influence_m) / 1e3:.2f} km; terminator orbits of "
        f"{craft.area_to_mass_m2_kg:g} m2/kg, reflectance {craft.reflectance:g}\n"
    )


def _print_deflection(described: Description, found: dict[str, Any]) -> None:
    print(
        f"barycentre velocity change (um/s): {found['barycentre_along_track_um_s']:+.3f} along the heliocentric "
        f"velocity, "
        f"{found['barycentre_outward_um_s']:+.3f} outward, {found['barycentre_normal_um_s']:+.3f} normal"
    )
    changes = element_changes(described)
    print(
        f"heliocentric orbit: a {changes['semi_major_axis_au_km'][1]:+.4f} km, "
        f"e {changes['eccentricity'][1]:+.3e}, i {changes['inclination_deg_uas'][1]:+.3f} uas, "
        f"period {changes['period_days_s'][1]:+.4f} s"
    )
    rows = [
        (
            f"{row['lead_years']:g}",
            *(f"{row[key]:+.3f}" for key in ("along_track_km", "total_km", "rule_of_thumb_km")),
        )
        for row in displacements(described)
    ]
    print_table(("years after impact", "along-track, km", "total, km", "-3 dv t, km"), rows)
    print(
        f"one Earth radius of along-track displacement takes {found['lead_for_earth_radius_years']:.4g} yr (3 dv t; "
        f"no planetary "
        "perturbations)\n"
    )
