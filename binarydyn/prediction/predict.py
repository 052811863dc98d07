"""The prediction: how much the impact changes the secondary's orbit period, and what else changes.

Relax and calibrate, run the window before t0, apply the impact, run the window after, and compare both with the same
estimator.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..dynamics import Trajectory
from ..errors import FewCyclesError, InputError
from ..impact import Budget, Impact, impact_budget, impact_numbers, impact_on, turns_deg
from ..kinds import takes
from ..lazy import Lazy
from ..notebook import Displayed, library
from ..observables import Estimate, FundamentalLines, fundamental_lines, periods
from ..observables.chaos import Chaos, simulate_with_neighbours
from ..relaxed.degree import next_degree
from ..relaxed.start import Start
from ..scenario import Scenario, example
from .closed_forms import analytic_changes
from .ground_error import GroundError, ground_error
from .reshaping_share import Shares, shares
from .warnings import remarks
from .windows import Progress, Side, before_impact, fit_error_s, measured

if TYPE_CHECKING:
    import pandas

_SHOWN = ("status", "period_before_h", "period_after_h", "period_change_s", "period_change_fit_error_s")
_SHOWN += ("along_track_dv_mm_s", "beta_along_normal", "eccentricity_after", "separation_after_m")
_SHOWN += ("libration_max_after_deg", "tumbling", "chaotic_after", "relative_energy_error")
"""Rows of a prediction in a notebook."""


@dataclass(frozen=True, eq=False, repr=False)
class Prediction(Displayed, Lazy):
    """What `predict` returns, and `open` of a file; numbers() is the flat table that is printed and stored.

    before, after: the windows, each a Trajectory with `period`, `shape` of the orbit and `attitude` of the secondary.
    """

    scenario: Scenario
    start: Start
    impact: Impact
    before: Side
    after: Side
    status: str
    warnings: tuple[str, ...]
    chaos: Chaos
    shares: Shares | None
    lines: FundamentalLines
    model_error_s: float | None
    ground: GroundError | None

    @property
    def period_change_s(self) -> float | None:
        """Period after minus period before, same estimator and window length.

        None where one of them could not be measured.
        """
        if self.before.period is None or self.after.period is None:
            return None
        return self.after.period.value_s - self.before.period.value_s

    def period_changes_s(self) -> dict[str, float]:
        """The change by every estimator that could be used on both windows."""
        return {name: after.value_s - before.value_s for name, (before, after) in self._both_periods().items()}

    def _both_periods(self) -> dict[str, tuple[Estimate, Estimate]]:
        """Before and after, by every estimator that could be used on both windows."""
        before, after = (_all_periods(side) for side in (self.before, self.after))
        return {name: (before[name], after[name]) for name in before if name in after}

    def changes(self) -> pandas.DataFrame:
        """Index method, columns before_h, after_h, change_s, sigma_s: the periods by every estimator that could be
        used, with the sigma of both fits.  InputError without pandas.
        """
        rows = {
            name: (one.value_h, two.value_h, two.value_s - one.value_s, float(np.hypot(one.sigma_s, two.sigma_s)))
            for name, (one, two) in self._both_periods().items()
        }
        columns = ["before_h", "after_h", "change_s", "sigma_s"]
        return library("pandas", "Prediction.changes").DataFrame.from_dict(rows, orient="index", columns=columns)

    def to_series(self) -> pandas.Series:
        """numbers() as a pandas Series; nan stands for what is not known.  InputError without pandas."""
        known = {name: np.nan if value is None else value for name, value in self.numbers().items()}
        return library("pandas", "Prediction.to_series").Series(known, dtype=object)

    def _line(self) -> str:
        n = {name: np.nan if value is None else value for name, value in self.numbers().items()}
        periods = f"{n['period_before_h']:.5f} h -> {n['period_after_h']:.5f} h"
        change = f"change {n['period_change_s']:.3f} s (fit +-{n['period_change_fit_error_s']:.2g})"
        motion = f"e {n['eccentricity_after']:.3f}, libration {n['libration_max_after_deg']:.1f} deg"
        return f"{n['status']}: {periods}, {change}; {motion}{', tumbling' if n['tumbling'] is True else ''}"

    def _facts(self) -> dict[str, Any]:
        numbers = self.numbers()
        return {name: numbers[name] for name in _SHOWN if numbers.get(name) is not None}

    def budget(self) -> Budget:
        """Energy and angular momentum before and just after the impact, part by part, and whether the books close."""
        return impact_budget(self.start.system, self.start.system.state, self.impact)

    def analytic_changes_s(self) -> dict[str, float]:
        """Closed-form estimates for the same velocity change; see analytic.py."""
        i = self.impact
        dv = np.array([i.dv_along_track_mm_s, i.dv_radial_mm_s, i.dv_normal_mm_s]) * 1e-3
        return analytic_changes(self.start.separation_m, self.start.period_h, self.start.system.oblateness_m2, dv)

    def _turns_deg(self) -> dict[str, float]:
        sides = (
            (system.primary, system.secondary, state.vector)
            for system, state in (
                (self.start.system, self.start.system.state),
                (self.impact.system, self.impact.state),
            )
        )
        return {name: float(value) for name, value in turns_deg(*sides).items()}

    def numbers(self) -> dict[str, float | str | bool | None]:
        """Every outcome as one flat table, units in the names."""
        before, after, impact = self.before, self.after, self.impact
        shape, turned = after.shape, after.attitude
        runs = (before, after)
        return {
            "status": self.status,
            "period_before_h": before.period and before.period.value_h,
            "period_after_h": after.period and after.period.value_h,
            "period_change_s": self.period_change_s,
            "period_change_fit_error_s": fit_error_s(before, after),
            "period_change_ground_error_s": self.ground and self.ground.sigma_s,
            "period_change_ground_low_s": self.ground and self.ground.low_s,
            "period_change_ground_high_s": self.ground and self.ground.high_s,
            "period_change_neighbour_sd_s": _both_spreads_s(self.start.chaos, self.chaos),
            "model_error_s": self.model_error_s,
            "period_change_reshaping_s": self.shares and self.shares.reshaping_s,
            "period_change_dv_s": self.shares and self.shares.dv_s,
            "period_change_interaction_s": self.shares and self.shares.interaction_s,
            "along_track_dv_mm_s": impact.dv_along_track_mm_s,
            "radial_dv_mm_s": impact.dv_radial_mm_s,
            "normal_dv_mm_s": impact.dv_normal_mm_s,
            "barycentre_dv_mm_s": 1e3 * float(np.linalg.norm(impact.audit.barycentre_dv_m_s)),
            **impact_numbers(impact),
            "eccentricity_before": before.shape and before.shape.eccentricity,
            "eccentricity_after": shape and shape.eccentricity,
            "apsidal_precession_after_deg_day": shape and shape.apsidal_precession_deg_day,
            "nodal_precession_after_deg_day": shape and shape.nodal_precession_deg_day,
            "inclination_after_deg": shape and shape.inclination_deg,
            **self._turns_deg(),
            "separation_before_m": before.shape and before.shape.mean_separation_m,
            "separation_after_m": shape and shape.mean_separation_m,
            "libration_max_before_deg": before.attitude and before.attitude.libration_max_deg,
            "libration_max_after_deg": turned and turned.libration_max_deg,
            "roll_max_after_deg": turned and turned.roll_max_deg,
            "pitch_max_after_deg": turned and turned.pitch_max_deg,
            "long_axis_misalignment_max_after_deg": turned and turned.long_axis_misalignment_max_deg,
            "pole_tilt_max_after_deg": turned and turned.pole_tilt_max_deg,
            "lost_lock_after": turned and turned.lost_lock,
            "tumbling": turned and turned.tumbling,
            "divergence_factor_before": self.start.chaos.divergence_factor,
            "chaotic_before": self.start.chaos.chaotic,
            "divergence_factor_after": self.chaos.divergence_factor,
            "chaotic_after": self.chaos.chaotic,
            "tumbling_criteria_agree": turned and turned.tumbling == self.chaos.chaotic,
            "mean_motion_period_after_h": self.lines.mean_motion_h,
            "libration_period_after_h": self.lines.libration_h,
            "libration_amplitude_after_deg": self.lines.libration_deg,
            "pole_precession_period_after_h": self.lines.precession_h,
            "pole_precession_amplitude_after_deg": self.lines.precession_deg,
            "pole_nutation_period_after_h": self.lines.nutation_h,
            "pole_nutation_amplitude_after_deg": self.lines.nutation_deg,
            "secondary_spin_period_after_h": turned and turned.secondary_spin_period_h,
            "primary_pole_wobble_after_deg": turned and turned.primary_pole_wobble_deg,
            "single_orbit_period_scatter_before_s": _spread(before.single_orbit_periods_s),
            "single_orbit_period_scatter_after_s": _spread(after.single_orbit_periods_s),
            "primary_density_kg_m3": self.start.system.primary.density_kg_m3,
            "secondary_density_kg_m3": self.start.system.secondary.density_kg_m3,
            "total_mass_kg": self.start.system.mass_kg,
            "secondary_mass_kg": self.start.system.secondary.mass_kg,
            "relative_energy_error": _largest(run.relative_energy_error for run in runs),
            "relative_angular_momentum_error": _largest(run.relative_angular_momentum_error for run in runs),
            "degree": self.start.system.degree,
            "estimator": self.scenario.observation.estimator,
            "window_days": after.days,
        }


@takes(scenario=("Scenario", None))
def predict(scenario: Scenario | None = None, *, progress: Progress | None = None) -> Prediction:
    """Predict what the impact of a scenario does, by default of the built-in one.

    progress: is told the stage and the share of it that is done.  Contact, escape, a miss, a failed step and the step
    limit are statuses of the result.  Raises InputError, ConvergenceError.

    >>> import binarydyn as bd
    >>> prediction = bd.predict()
    >>> prediction
    <Prediction completed: 10.42000 h -> 9.98152 h, change -1578.529 s (fit +-0.00043); e 0.029, libration 12.0 deg>
    >>> print(prediction.changes().change_s["frequency"].round(2), prediction.after.yaw_deg.max().round(1))
    -1578.53 12.0
    >>> prediction.to_series()["period_change_s"] == prediction.period_change_s
    True
    """
    scenario = example() if scenario is None else scenario
    begun, before = before_impact(scenario, progress)
    impact = impact_on(begun.system, scenario)
    simulation = scenario.simulation
    if progress:
        progress("after the impact", 0.0)
    run, chaos = simulate_with_neighbours(
        impact.system, simulation.days_after, impact.state, simulation.sample_minutes, simulation.max_steps
    )
    after = measured(run, scenario.observation.estimator)
    status = _status(impact, before, after)
    result = Prediction(
        scenario=scenario,
        start=begun,
        impact=impact,
        before=before,
        after=after,
        status=status,
        warnings=begun.warnings + impact.warnings + remarks(scenario, begun, before, after, chaos, status),
        chaos=chaos,
        shares=shares(begun.system, scenario, impact, before.period, after.period),
        lines=fundamental_lines(run, after.attitude) if after.attitude else FundamentalLines(),
        model_error_s=None,
        ground=None,
    )
    if ground := ground_error(begun, scenario, impact, result.period_change_s):
        remark = ground.remark(result.period_change_s)
        result = replace(result, ground=ground, warnings=result.warnings + remark)
    return replace(result, model_error_s=next_degree_s(result)) if simulation.model_error != "none" else result


def next_degree_s(result: Prediction) -> float | None:
    """What the next degree of gravity changes in the period change: the error of the model, not of its inputs."""
    later = next_degree(result.start.system.degree)
    if later is None or result.period_change_s is None:
        return None
    better = predict(result.scenario.replace({"simulation.degree": later, "simulation.model_error": "none"}))
    return None if better.period_change_s is None else better.period_change_s - result.period_change_s


def _status(impact: Impact, before: Side, after: Side) -> str:
    """The first thing that went otherwise than asked: the run before, the aim, the run after."""
    if before.status != "completed":
        return f"{before.status}_before"
    if impact.status in ("miss", "none"):
        return "miss" if impact.status == "miss" else "no_impact"
    if impact.status == "grazing" and after.status == "completed":
        return "grazing"
    return after.status


def _all_periods(trajectory: Trajectory) -> dict[str, Estimate]:
    try:
        return periods(trajectory)
    except (FewCyclesError, InputError):
        return {}


def _both_spreads_s(before: Chaos, after: Chaos) -> float | None:
    """Of the period change over neighbouring trajectories; a regular window of which none was run adds nothing."""
    spreads = [after.period_spread_s, before.period_spread_s if before.chaotic else before.period_spread_s or 0.0]
    return None if None in spreads else float(np.hypot(*spreads))


def _largest(drifts: Iterable[float | None]) -> float | None:
    """None where perturbations change what is else conserved."""
    known = [drift for drift in drifts if drift is not None]
    return max(known) if known else None


def _spread(single_orbit_periods_s: np.ndarray) -> float | None:
    return float(np.std(single_orbit_periods_s)) if len(single_orbit_periods_s) > 1 else None
