"""The table of outcomes: name, label, how each follows from a prediction, format, kind, and where it is shown.

Printed texts, JSON, result files, figures, statistics of members, summary tables and `validate` take them from here.
A new outcome is one row and its function.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from ..columns import angle_deg
from ..impact import betas_of, turns_deg
from ..impact.footprint import crater_scale_m
from ..kinds import sure
from ..motion.state import Body
from ..observables import ground_hold
from ..units import words_of
from .mass_share import mass_share_s
from .outcome import FLAG, TEXT, WHOLE, Group, Outcome, Outlets, Predicted, Value, at
from .windows import fit_error_s


def shown_in(place: Outlets, *groups: Group) -> list[Outcome]:
    """The rows that are shown there, of all groups or of some, in their order."""
    return [row for row in OUTCOMES.values() if row.shown & place and (row.group in groups or not groups)]


def outcomes_of(prediction: Predicted) -> dict[str, Value]:
    """By name, all that a prediction gives, in the order of the table."""
    return {name: row.of(prediction) for name, row in OUTCOMES.items() if row.of}


def long_name_of(name: str) -> str:
    """What a stored quantity is called: an outcome as in its row, another by the words of its name."""
    return OUTCOMES[name].long_name if name in OUTCOMES else words_of(name)


_impact = partial(at, place="impact")
_site = partial(at, place="impact.site")
_released = partial(at, place="impact.released")
_material = partial(at, place="impact.released.scaled")
_exchange = partial(at, place="impact.exchange")
_share = partial(at, place="shares")
_orbit = partial(at, place="after.shape")
_rotation = partial(at, place="after.attitude")
_secondary = partial(at, place="start.system.secondary")


def _turns_deg(p: Predicted) -> dict[str, np.ndarray]:
    sides = (p.start.system, p.start.system.state), (p.impact.system, p.impact.state)
    return turns_deg(*((one.primary, one.secondary, state.vector) for one, state in sides))


def _plane_change_deg(p: Predicted) -> float:
    return float(_turns_deg(p)["orbit_plane_change_deg"])


def _momentum_tilt_deg(p: Predicted) -> float:
    return float(_turns_deg(p)["angular_momentum_tilt_deg"])


def _scatter_s(side: str) -> Callable[[Predicted], float | None]:
    def scatter_s(prediction: Predicted) -> float | None:
        cycles = getattr(prediction, side).single_orbit_periods_s
        return float(np.std(cycles)) if len(cycles) > 1 else None

    return scatter_s


def _largest(name: str) -> Callable[[Predicted], float | None]:
    """Of both runs; None where perturbations change what is else conserved."""

    def largest(p: Predicted) -> float | None:
        errors = (getattr(side, name) for side in (p.before, p.after))
        return max((error for error in errors if error is not None), default=None)

    return largest


def _barycentre_dv_mm_s(p: Predicted) -> float:
    return 1e3 * float(np.linalg.norm(p.impact.audit.barycentre_dv_m_s))


def _boulders_dv_mm_s(p: Predicted) -> float | None:
    thrown = p.impact.thrown
    return 1e3 * float(np.linalg.norm(thrown.momentum_kg_m_s)) / _struck(p).mass_kg if thrown else None


def _struck(p: Predicted) -> Body:
    """The body that is hit, after the impact."""
    return p.impact.system.primary if p.impact.mirror else p.impact.system.secondary


def _primary_spin_change_s(p: Predicted) -> float | None:
    """2 pi/|w| after less before, at the impact; None where it is left alone."""
    before, after = (np.linalg.norm(state.rate1_rad_s) for state in (p.start.system.state, p.impact.state))
    return None if before == after or not before * after else float(2.0 * np.pi * (1.0 / after - 1.0 / before))


def _beta(name: str, frame: str) -> Callable[[Predicted], float | None]:
    def value(p: Predicted) -> float | None:
        betas = betas_of(p.impact, p.start.system.state)
        return None if betas is None else float(betas.named(name, sure(p.impact.released).beta, frame))

    return value


def _normal_tilt_deg(p: Predicted) -> float | None:
    """From the normal at the point: by curvature that changes across an ellipsoid's crater, on a mesh by roughness."""
    if (site := p.impact.site) is None:
        return None
    scenario, system = p.scenario, p.start.system
    body = system.primary if p.impact.mirror else system.secondary
    radius = site.normal_radius_m or crater_scale_m(body, sure(scenario.impactor), scenario.momentum_transfer)
    return float(angle_deg(body.normal_about(site.hit, radius), site.hit.normal))


def _hold(side: str, name: str) -> Callable[[Predicted], float | None]:
    def value(p: Predicted) -> float | None:
        held = ground_hold(getattr(p, side))
        return None if held is None else float(getattr(held, name))

    return value


def _mass_share_s(p: Predicted) -> float | None:
    return mass_share_s(p.start, p.impact)


def _mass_change_kg(p: Predicted) -> float | None:
    return p.impact.exchange.masses.gained_kg if p.impact.exchange else None


def _centre_shift_m(p: Predicted) -> float | None:
    return float(np.linalg.norm(p.impact.exchange.shift_m)) if p.impact.exchange else None


def _crater_regime(p: Predicted) -> str:
    return _material("crater_regime")(p) or ""


def _fit_error_s(p: Predicted) -> float | None:
    return None if p.period_change_s is None else fit_error_s(p.before, p.after)


def _spread_s(p: Predicted) -> float | None:
    """Of the period change over neighbouring trajectories; a regular window of which none was run adds nothing."""
    before, after = p.start.chaos, p.chaos
    one, two = after.period_spread_s, before.period_spread_s if before.chaotic else before.period_spread_s or 0.0
    return None if one is None or two is None else float(np.hypot(one, two))


def _criteria_agree(p: Predicted) -> bool | None:
    return None if p.after.attitude is None else p.after.attitude.tumbling == p.chaos.chaotic


_PRINT, _PAGE, _MEMBERS, _SUMMARY, _NEIGHBOURS, _NOTEBOOK = Outlets
_OF_EACH = _MEMBERS | _SUMMARY
_BOTH, _TOLD, _ALL = _PRINT | _PAGE, _PRINT | _MEMBERS, _PRINT | _PAGE | _MEMBERS
_FIRST = _ALL | _NOTEBOOK
_HEADLINE = (
    Outcome("status", "Status", at("status"), TEXT, _NOTEBOOK),
    Outcome("period_change_s", "Period change", at("period_change_s"), "+.3f", _OF_EACH | _NOTEBOOK),
    Outcome("period_change_fit_error_s", "Fit error of the period change", _fit_error_s, ".2g", _NOTEBOOK),
    Outcome("period_change_ground_error_s", "Surface-slope error of the period change", at("ground.sigma_s")),
    Outcome("period_change_ground_low_s", "Period change by facet normals, 16 % quantile", at("ground.low_s")),
    Outcome("period_change_ground_high_s", "Period change by facet normals, 84 % quantile", at("ground.high_s")),
    Outcome("period_change_reshaping_s", "Period change, reshaping alone", _share("reshaping_s"), "+.3f", _PRINT),
    Outcome("period_change_dv_s", "Period change, impulse at the new shape", _share("dv_s"), "+.3f", _PRINT),
    Outcome("period_change_interaction_s", "Period change, interaction", _share("interaction_s"), "+.3f", _PRINT),
    Outcome(
        "period_change_mass_s", "Period change, exchange of mass (attitude left out)", _mass_share_s, "+.3f", _PRINT
    ),
    Outcome("model_error_s", "Period change, next gravity degree", at("model_error_s"), "+.3f", _TOLD),
)
_IMPACT = (
    Outcome(
        "along_track_dv_mm_s", "Velocity change along-track", _impact("dv_along_track_mm_s"), "+.4f", _SUMMARY | _FIRST
    ),
    Outcome("radial_dv_mm_s", "Velocity change radial", _impact("dv_radial_mm_s"), "+.4f", _BOTH | _SUMMARY),
    Outcome("normal_dv_mm_s", "Velocity change normal", _impact("dv_normal_mm_s"), "+.4f", _BOTH | _SUMMARY),
    Outcome("barycentre_dv_mm_s", "Velocity change of the system barycentre", _barycentre_dv_mm_s, shown=_PRINT),
    Outcome("boulders_dv_mm_s", "Velocity change by boulders", _boulders_dv_mm_s, shown=_PRINT),
    Outcome("primary_spin_period_change_s", "Primary spin period change", _primary_spin_change_s, "+.4g", _PRINT),
    Outcome("mass_change_kg", "Mass change of the body that is hit", _mass_change_kg, "+.4g", _PRINT),
    Outcome("centre_shift_m", "Shift of its centre of mass", _centre_shift_m, ".3g", _PRINT),
    Outcome("principal_axes_turn_deg", "Turn of the principal axes by it", _exchange("turned_deg"), ".3g", _PRINT),
    Outcome("beta", "Beta", _released("beta"), shown=_PRINT | _SUMMARY),
    Outcome("beta_low", "Beta, 16 % quantile", _material("beta_low"), shown=_PRINT),
    Outcome("beta_high", "Beta, 84 % quantile", _material("beta_high"), shown=_PRINT),
    Outcome("beta_system", "System beta", _released("beta_system"), shown=_PRINT),
    Outcome("beta_along_normal", "Beta along the surface normal", _impact("beta_along_normal"), shown=_NOTEBOOK),
    Outcome("beta_centre", "Beta from the secondary's centre", _beta("ejecta_axis", "centre")),
    Outcome("beta_magnitude", "Beta by the size of the momentum", _beta("magnitude", "centre")),
    Outcome("beta_along_track", "Net beta along-track", _beta("along_track", "centre"), shown=_PRINT),
    Outcome("beta_launched", "Beta of all that is launched", _material("beta_launched")),
    Outcome("site_longitude_deg", "Longitude of the impact site", _site("longitude_deg"), "+.2f", _PRINT),
    Outcome("site_latitude_deg", "Latitude of the impact site", _site("latitude_deg"), "+.2f", _PRINT),
    Outcome("incidence_deg", "Incidence angle", _site("incidence_deg"), ".1f", _PRINT | _SUMMARY),
    Outcome("lever_arm_m", "Lever arm of the line of flight", _site("lever_arm_m")),
    Outcome("normal_radius_m", "Radius of the mean surface normal", _site("normal_radius_m"), ".3g"),
    Outcome("normal_tilt_deg", "Tilt of the mean normal over the crater", _normal_tilt_deg, ".3g"),
    Outcome("crater_regime", "Crater regime", _crater_regime, TEXT, _PRINT),
    Outcome("crater_radius_m", "Crater radius", _material("crater_radius_m"), ".3g", _PRINT),
    Outcome("cone_half_angle_deg", "Half angle of the ejecta cone", _material("cone_half_angle_deg"), ".3g", _PRINT),
    Outcome("ejecta_mass_kg", "Ejecta mass", _material("ejecta_mass_kg"), shown=_PRINT),
    Outcome("mass_captured_kg", "Ejecta mass that falls back", _material("mass_captured_kg"), shown=_PRINT),
    Outcome("mass_lost_kg", "Ejecta mass that leaves the secondary", _material("mass_lost_kg")),
    Outcome(
        "mass_kept_system_kg", "Ejecta mass that stays in the system", _released("mass_kept_system_kg"), shown=_PRINT
    ),
    Outcome(
        "mass_lost_system_kg", "Ejecta mass that leaves the system", _released("mass_lost_system_kg"), shown=_PRINT
    ),
)
_ORBIT = (
    Outcome("period_before_h", "Orbit period", at("before.period.value_h"), ".6f", _SUMMARY | _NOTEBOOK),
    Outcome("period_after_h", "Orbit period", at("after.period.value_h"), ".6f", _FIRST | _SUMMARY),
    Outcome("single_orbit_period_scatter_before_s", "Single-orbit period scatter", _scatter_s("before"), ".2f"),
    Outcome("single_orbit_period_scatter_after_s", "Single-orbit period scatter", _scatter_s("after"), ".2f", _PRINT),
    Outcome("mean_motion_period_after_h", "Period of the mean motion", at("lines.mean_motion_h"), ".6f"),
    Outcome("separation_before_m", "Mean separation", at("before.shape.mean_separation_m"), ".2f", _SUMMARY),
    Outcome("separation_after_m", "Mean separation", _orbit("mean_separation_m"), ".2f", _BOTH | _NOTEBOOK),
    Outcome("separation_min_after_m", "Minimum separation", None, ".2f", _OF_EACH),
    Outcome("separation_max_after_m", "Maximum separation", None, ".2f", _SUMMARY),
    Outcome("eccentricity_before", "Eccentricity", at("before.shape.eccentricity"), ".5f"),
    Outcome("eccentricity_after", "Eccentricity", _orbit("eccentricity"), ".5f", _FIRST),
    Outcome(
        "apsidal_precession_after_deg_day", "Apsidal precession rate", _orbit("apsidal_precession_deg_day"), ".3f", _ALL
    ),
    Outcome(
        "nodal_precession_after_deg_day", "Nodal precession rate", _orbit("nodal_precession_deg_day"), ".3f", _PRINT
    ),
    Outcome("inclination_after_deg", "Inclination to total angular momentum", _orbit("inclination_deg"), ".3f", _TOLD),
    Outcome("orbit_plane_change_deg", "Inclination to pre-impact orbit", _plane_change_deg, ".3f", _ALL | _SUMMARY),
    Outcome("angular_momentum_tilt_deg", "Tilt of total angular momentum", _momentum_tilt_deg, ".3f", _TOLD | _SUMMARY),
)
_ATTITUDE = (
    Outcome("libration_max_before_deg", "Maximum libration angle", at("before.attitude.libration_max_deg"), ".3f"),
    Outcome("libration_max_after_deg", "Maximum libration angle", _rotation("libration_max_deg"), ".3f", _FIRST),
    Outcome("roll_max_after_deg", "Maximum roll", _rotation("roll_max_deg"), ".3f", _ALL),
    Outcome("pitch_max_after_deg", "Maximum pitch", _rotation("pitch_max_deg"), ".3f", _BOTH),
    Outcome(
        "long_axis_misalignment_max_after_deg",
        "Maximum long-axis misalignment",
        _rotation("long_axis_misalignment_max_deg"),
        ".3f",
        _OF_EACH,
    ),
    Outcome("pole_tilt_max_after_deg", "Maximum pole tilt", _rotation("pole_tilt_max_deg"), ".3f", _OF_EACH),
    Outcome("lost_lock_after", "Loss of synchronous lock", _rotation("lost_lock"), FLAG, _OF_EACH),
    Outcome("tumbling", "Tumbling", _rotation("tumbling"), FLAG, _TOLD | _NOTEBOOK),
    Outcome("libration_period_after_h", "Libration period", at("lines.libration_h")),
    Outcome("libration_amplitude_after_deg", "Libration amplitude", at("lines.libration_deg")),
    Outcome("pole_precession_period_after_h", "Pole precession period", at("lines.precession_h")),
    Outcome("pole_precession_amplitude_after_deg", "Pole precession amplitude", at("lines.precession_deg")),
    Outcome("pole_nutation_period_after_h", "Pole nutation period", at("lines.nutation_h")),
    Outcome("pole_nutation_amplitude_after_deg", "Pole nutation amplitude", at("lines.nutation_deg")),
    Outcome("secondary_spin_period_after_h", "Secondary spin period", _rotation("secondary_spin_period_h")),
    Outcome("slope_max_before_deg", "Steepest slope of the secondary", _hold("before", "slope_max_deg"), ".1f"),
    Outcome("slope_max_after_deg", "Steepest slope of the secondary", _hold("after", "slope_max_deg"), ".1f", _PRINT),
    Outcome("needed_cohesion_after_Pa", "Cohesion that it takes", _hold("after", "needed_cohesion_Pa"), ".2g", _PRINT),
    Outcome("primary_pole_wobble_after_deg", "Primary pole wobble", _rotation("primary_pole_wobble_deg")),
)
_STABILITY = (
    Outcome("divergence_factor_before", "Divergence factor", at("start.chaos.divergence_factor"), ".3g", _NEIGHBOURS),
    Outcome("chaotic_before", "Chaotic motion", at("start.chaos.chaotic"), FLAG, _MEMBERS | _NEIGHBOURS),
    Outcome("divergence_factor_after", "Divergence factor", at("chaos.divergence_factor"), ".3g"),
    Outcome("divergence_factor_at_end", "Divergence factor at the end of the window", None, ".3g", _NEIGHBOURS),
    Outcome("chaotic_after", "Chaotic motion", at("chaos.chaotic"), FLAG, _MEMBERS | _NEIGHBOURS | _NOTEBOOK),
    Outcome("period_change_neighbour_sd_s", "Period change, SD over neighbours", _spread_s, ".2g", _NEIGHBOURS),
    Outcome("tumbling_criteria_agree", "Agreement of the criteria of tumbling", _criteria_agree, FLAG),
)
_NUMERICS = (
    Outcome(
        "relative_energy_error", "Relative energy error", _largest("relative_energy_error"), ".1e", _PRINT | _NOTEBOOK
    ),
    Outcome(
        "relative_angular_momentum_error",
        "Relative angular-momentum error",
        _largest("relative_angular_momentum_error"),
        ".1e",
        _PRINT,
    ),
    Outcome(
        "primary_density_kg_m3", "Primary density", at("start.system.primary.density_kg_m3"), ".1f", _PRINT | _SUMMARY
    ),
    Outcome("secondary_density_kg_m3", "Secondary density", _secondary("density_kg_m3"), ".1f", _PRINT | _SUMMARY),
    Outcome("total_mass_kg", "Total mass", at("start.system.mass_kg"), ".4e", _SUMMARY),
    Outcome("secondary_mass_kg", "Secondary mass", _secondary("mass_kg"), ".4e", _SUMMARY),
    Outcome("degree", "Gravity degree", at("start.system.degree"), WHOLE, _PRINT),
    Outcome("estimator", "Period estimator", at("scenario.observation.estimator"), TEXT),
    Outcome("window_days", "Window", at("after.days"), ".3g"),
)
_GROUPS: dict[Group, tuple[Outcome, ...]] = {
    "headline": _HEADLINE,
    "impact": _IMPACT,
    "orbit": _ORBIT,
    "attitude": _ATTITUDE,
    "stability": _STABILITY,
    "numerics": _NUMERICS,
}
OUTCOMES = {row.name: replace(row, group=group) for group, rows in _GROUPS.items() for row in rows}
"""By name, in the order in which outcomes are told everywhere; warnings follow them."""
