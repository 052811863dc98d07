"""How sure a prediction is: medians, intervals and chances over drawn members."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..observables.averages import told_intervals

_SPREAD = (
    "period_change_s",
    "period_after_h",
    "eccentricity_after",
    "precession_after_deg_day",
    "inclination_change_deg",
    "libration_max_after_deg",
    "roll_max_after_deg",
    "long_axis_angle_max_after_deg",
    "tilt_max_after_deg",
    "separation_min_after_m",
    "along_track_dv_mm_s",
    "model_error_s",
)


def spread(columns: Mapping[str, np.ndarray]) -> dict[str, dict[str, float | None]]:
    """Median, 68 % and 95 % interval and standard deviation of each outcome over the members that ended well and are
    stable; None for what their number does not carry (averages.told_intervals).

    columns: as Result.columns.  An unstable member has no predictable outcome and is counted in `chances`, not here.
    """
    well = (columns["status"] == "done") & (columns.get("unstable_after", np.zeros(len(columns["status"]))) != 1)
    found = {}
    for name in _SPREAD:
        values = columns[name][well].astype(float) if name in columns else np.empty(0)
        values = values[np.isfinite(values)]
        if len(values):
            found[name] = told_intervals(values) | {"sigma": float(values.std(ddof=1)) if len(values) > 1 else None}
    return found


def chances(
    columns: Mapping[str, np.ndarray], least_change_s: float | None = None, measured_to_s: float | None = None
) -> dict[str, dict[str, float]]:
    """Share of the members with each outcome, and its standard error sqrt(p (1 - p) / n), at least 1/n.

    least_change_s, measured_to_s: what is required of the size of the period change and of the error of its fit; of
    that a brief table says nothing.
    """
    status, count = columns["status"], len(columns["status"])
    flags = {word: status == word for word in ("contact", "escape", "miss")}
    flags["no_prediction"] = np.isin(status, ("bad_input", "not_converged", "too_few_cycles", "not_measured", "error"))
    for name in ("unstable_after", "tumbling", "turned_over_after"):
        if name in columns:
            flags[name] = columns[name] == 1
    unknown = np.full(count, np.nan)
    if least_change_s is not None:
        flags[f"change_of_{least_change_s:g}_s"] = np.abs(columns.get("period_change_s", unknown)) >= least_change_s
    if measured_to_s is not None and ("period_change_sigma_s" in columns or not np.any(status == "done")):
        flags[f"measured_to_{measured_to_s:g}_s"] = columns.get("period_change_sigma_s", unknown) <= measured_to_s
    return {name: _chance(int(np.sum(flag)), count) for name, flag in flags.items()}


def _chance(hits: int, count: int) -> dict[str, float]:
    share = hits / count
    return {"chance": share, "standard_error": max(float(np.sqrt(share * (1.0 - share) / count)), 1.0 / count)}
