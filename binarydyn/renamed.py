"""Names that were changed once: what each old key, option, table and column is called now, for those who type it."""

KEYS = {
    "push": "velocity_change",
    "campaign.mid_sigma_s": "campaign.mid_time_sigma_s",
    "campaign.middle_utc_h": "campaign.night_mid_utc_h",
    "campaign.pair_above_deg": "campaign.system_above_deg",
    "campaign.lost_share": "campaign.lost_fraction",
    "momentum_transfer.beta_pair": "momentum_transfer.beta_system",
    "requirement.measured_to_s": "requirement.precision_s",
    "spacecraft.aim_distance_m": "spacecraft.impact_parameter_m",
    "expected.<row>.known_miss": "expected.<row>.known_discrepancy",
}
"""Of a scenario, dotted; what lies in a renamed table has moved with it."""
OPTIONS = {"--single": "--nominal", "--finer": "--refine", "--companions": "--chaos"}
SWEEP_TABLES = {"brief": "summary"}
"""Of a sweep."""
COLUMNS = {
    "beta_pair": "beta_system",
    "mass_kept_pair_kg": "mass_kept_system_kg",
    "mass_lost_pair_kg": "mass_lost_system_kg",
    "amplification_before": "divergence_factor_before",
    "amplification_after": "divergence_factor_after",
    "amplification_at_end": "divergence_factor_at_end",
    "unstable_before": "chaotic_before",
    "unstable_after": "chaotic_after",
    "period_change_push_s": "period_change_dv_s",
    "period_change_remainder_s": "period_change_interaction_s",
    "period_change_spread_s": "period_change_neighbour_sd_s",
    "energy_drift": "relative_energy_error",
    "angular_momentum_drift": "relative_angular_momentum_error",
    "precession_after_deg_day": "apsidal_precession_after_deg_day",
    "long_axis_angle_max_after_deg": "long_axis_misalignment_max_after_deg",
    "tilt_max_after_deg": "pole_tilt_max_after_deg",
    "turned_over_after": "lost_lock_after",
    "libration_line_after_deg": "libration_amplitude_after_deg",
    "pole_precession_line_after_deg": "pole_precession_amplitude_after_deg",
    "pole_nutation_line_after_deg": "pole_nutation_amplitude_after_deg",
    "cycle_period_spread_before_s": "single_orbit_period_scatter_before_s",
    "cycle_period_spread_after_s": "single_orbit_period_scatter_after_s",
    "mid_sigma_s": "mid_time_sigma_s",
    "drift_s": "shift_s",
    "drift_sigma_s": "shift_sigma_s",
    "posterior_push_mm_s": "posterior_dv_mm_s",
    "push_for_change_mm_s": "velocity_change_for_period_change_mm_s",
}
"""Of tables, JSON objects and reference cases."""


def now(old: str, names: dict[str, str]) -> str:
    """The advice for an old name, dotted or not; empty for one that was never changed."""
    for before, after in names.items():
        if old == before or old.startswith(before + "."):
            return f"it is called {after + old[len(before) :]} now; write that"
    return ""
