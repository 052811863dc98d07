"""What a reference case may compare: by name, the number that a scenario gives, its unit at the end of the name."""

from __future__ import annotations

import math

from ..constants import HOUR_S
from ..kinds import sure
from ..prediction.outcome import NUMBER, Outcome
from ..prediction.outcomes import OUTCOMES
from ..prediction.predict import predict
from ..scenario import Scenario, varied
from .case import Case, Quantity
from .posterior_quantities import POSTERIOR
from .solve_for import (
    beta_for_change,
    dv_for_change,
    period_change_s,
    precession_at_ratio,
    primary_flattening_s,
    ratio_for_precession,
    ratio_for_reshaping,
    reshaping_at_ratio,
)


def _as_spheres(scenario: Scenario) -> Scenario:
    """Both bodies as spheres of their volumes: the system that Kepler's third law describes."""
    return varied(scenario, _axes("primary", scenario, True) | _axes("secondary", scenario, True))


def _as_oblate(scenario: Scenario) -> Scenario:
    """The primary as a spheroid of its volume and polar axis, the secondary as a sphere of its volume."""
    return varied(scenario, _axes("primary", scenario, False) | _axes("secondary", scenario, True))


def _axes(body: str, scenario: Scenario, sphere: bool) -> dict[str, float]:
    a, b, c = getattr(scenario, body).semi_axes_m
    equator = (a * b * c) ** (1 / 3) if sphere else math.sqrt(a * b)
    return {f"{body}.semi_axes_m.{i}": axis for i, axis in enumerate((equator, equator, equator if sphere else c))}


def _dv_for_change(scenario: Scenario, change_s: float) -> float:
    found = varied(scenario, {"momentum_transfer.beta": beta_for_change(scenario, change_s)})
    return predict(found).impact.dv_along_track_mm_s


def _kepler_ratio(case: Case) -> float:
    begun = case.prediction.start
    return (2.0 * math.pi / (begun.period_h * HOUR_S)) ** 2 * begun.separation_m**3 / begun.system.gm_m3_s2


def _equilibrium_kepler_ratio(case: Case) -> float:
    found = case.equilibrium
    return found.rate_rad_s**2 * found.separation_m**3 / case.prediction.start.system.gm_m3_s2


def _growth(case: Case) -> float:
    return float(max(mode.growth_per_orbit for mode in case.prediction.start.modes))


def _number(row: Outcome) -> Quantity:
    says = f"{row.long_name}, {row.unit}" if row.unit else row.long_name
    return Quantity(lambda case, _: case.number(row.name), f"{says}, as predicted")


def quantities() -> dict[str, Quantity]:
    """By the names that reference cases use: every number of a prediction, and what is worked out for a comparison."""
    return {row.name: _number(row) for row in OUTCOMES.values() if row.of and row.kind == NUMBER} | _WORKED_OUT


_WORKED_OUT: dict[str, Quantity] = {
    "period_change_min": Quantity(lambda case, _: case.number("period_change_s") / 60.0, "simulated, shapes as given"),
    "oblate_change_min": Quantity(
        lambda case, _: period_change_s(_as_oblate(case.scenario)) / 60.0,
        "simulated, primary as a spheroid and secondary as a sphere of the same volumes",
        needs_ellipsoids=True,
    ),
    "spheres_change_min": Quantity(
        lambda case, _: period_change_s(_as_spheres(case.scenario)) / 60.0,
        "simulated, both bodies as spheres of the same volumes",
        needs_ellipsoids=True,
    ),
    "vis_viva_change_min": Quantity(
        lambda case, _: case.prediction.analytic_changes_s()["vis_viva"] / 60.0, "closed form, Kepler orbit"
    ),
    "oblate_first_order_min": Quantity(
        lambda case, _: case.prediction.analytic_changes_s()["oblate"] / 60.0,
        "closed form, oblate primary, first order in the velocity change",
    ),
    "kepler_ratio": Quantity(lambda case, _: _kepler_ratio(case), "n^2 a^3 / GM of the relaxed state"),
    "libration_period_h": Quantity(lambda case, _: case.mode("libration"), "free libration about the relaxed state"),
    "epicyclic_period_h": Quantity(
        lambda case, _: case.mode("epicyclic"), "free radial oscillation about the relaxed state"
    ),
    "greatest_growth_per_orbit": Quantity(
        lambda case, _: _growth(case), "by which the free modes grow; 1 where all are stable"
    ),
    "equilibrium_kepler_ratio": Quantity(
        lambda case, _: _equilibrium_kepler_ratio(case), "n^2 a^3 / GM of the relative equilibrium, primary averaged"
    ),
    "equilibrium_libration_h": Quantity(
        lambda case, _: case.equilibrium.mode("libration").period_h, "libration about the relative equilibrium"
    ),
    "equilibrium_epicyclic_h": Quantity(
        lambda case, _: case.equilibrium.mode("epicyclic").period_h, "radial oscillation about the relative equilibrium"
    ),
    "equilibrium_attitude_fast_h": Quantity(
        lambda case, _: case.attitude_periods_h()[0],
        "faster turn of the secondary out of the plane, at the equilibrium",
    ),
    "equilibrium_attitude_slow_h": Quantity(
        lambda case, _: case.attitude_periods_h()[1],
        "slower turn of the secondary out of the plane, at the equilibrium",
    ),
    "equilibrium_growth_per_h": Quantity(
        lambda case, _: case.equilibrium.growth_rad_s * HOUR_S,
        "fastest growth about the relative equilibrium; 0 where it is stable",
    ),
    "turned_growth_per_h": Quantity(
        lambda case, _: case.turned.growth_rad_s * HOUR_S,
        "fastest growth about the equilibrium with the secondary's intermediate axis along r",
    ),
    "barycentre_along_track_um_s": Quantity(
        lambda case, _: 1e6 * case.deflection.along_track_m_s,
        "dv of the barycentre along its heliocentric velocity",
    ),
    "heliocentric_period_change_s": Quantity(
        lambda case, _: case.deflection.period_change_s, "change of the revolution about the Sun"
    ),
    "velocity_change_for_period_change_mm_s": Quantity(
        lambda case, given: dv_for_change(case.scenario, 60.0 * sure(given)),
        "along-track velocity change that gives a measured period change",
        needs_given="period change, min",
    ),
    "beta_for_change": Quantity(
        lambda case, given: beta_for_change(case.scenario, 60.0 * sure(given)),
        "momentum enhancement that gives a measured period change",
        needs_given="period change, min",
    ),
    "dv_for_change_mm_s": Quantity(
        lambda case, given: _dv_for_change(case.scenario, 60.0 * sure(given)),
        "along-track velocity change with the momentum enhancement that gives a measured period change",
        needs_given="period change, min",
    ),
    "reshaping_at_ac_s": Quantity(
        lambda case, given: reshaping_at_ratio(case.scenario, sure(given)),
        "period change by reshaping alone, for another a/c of the secondary's new shape at its a/b and the old volume",
        needs_given="a/c",
        needs_reshaping=True,
    ),
    "ac_for_reshaping": Quantity(
        lambda case, given: ratio_for_reshaping(case.scenario, sure(given)),
        "a/c of the secondary's new shape, at its a/b and the old volume, that gives a change by reshaping alone",
        needs_given=OUTCOMES["period_change_s"].label_with_unit,
        needs_reshaping=True,
    ),
    "primary_flattening_s": Quantity(
        lambda case, given: primary_flattening_s(case.scenario, sure(given)),
        "period change by reshaping alone, if the primary became shorter along its pole at its volume",
        needs_given="shortening of the polar semi-axis, m",
        needs_ellipsoids=True,
    ),
    "precession_at_ab_deg_day": Quantity(
        lambda case, given: precession_at_ratio(case.scenario, sure(given)),
        "after the impact, for another a/b of the secondary at the same a/c and volume",
        needs_given="a/b",
        needs_ellipsoids=True,
    ),
    "ab_for_precession": Quantity(
        lambda case, given: ratio_for_precession(case.scenario, sure(given)),
        "a/b of the secondary, at the same a/c and volume, that gives a measured precession after the impact",
        needs_given="precession, deg/day",
        needs_ellipsoids=True,
    ),
    **POSTERIOR,
}
