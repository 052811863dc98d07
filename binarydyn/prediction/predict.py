"""The prediction: how much the impact changes the secondary's orbit period, and what else changes.

Relax and calibrate, run the window before t0, apply the impact, run the window after, and compare both with the same
estimator.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..dynamics import Trajectory
from ..errors import FewCyclesError, InputError
from ..impact import BetaRow, Budget, Impact, beta_table, impact_budget, impact_on
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
from .outcome import Outlets
from .outcomes import OUTCOMES, outcomes_of, shown_in
from .reshaping_share import Shares, shares
from .warnings import remarks
from .windows import Progress, Side, before_impact, side_of

MISS = "miss"
"""Status after which there is no period change, which is not a change of zero."""

if TYPE_CHECKING:
    import pandas


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

        None where one of them could not be measured, and where nothing hit.
        """
        if self.status == MISS or self.before.period is None or self.after.period is None:
            return None
        return self.after.period.value_s - self.before.period.value_s

    def period_changes_s(self) -> dict[str, float]:
        """The change by every estimator that could be used on both windows."""
        return {name: after.value_s - before.value_s for name, (before, after) in self._both_periods().items()}

    def _both_periods(self) -> dict[str, tuple[Estimate, Estimate]]:
        """Before and after, by every estimator that could be used on both windows; none where nothing hit."""
        if self.status == MISS:
            return {}
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
        n = self.numbers()
        said = {name: OUTCOMES[name].said(value) for name, value in n.items()}
        periods = f"{OUTCOMES['period_before_h'].text(n['period_before_h'])} -> {said['period_after_h']}"
        change = f"change {said['period_change_s']} (fit {said['period_change_fit_error_s']})"
        motion = f"e {said['eccentricity_after']}, libration {said['libration_max_after_deg']}"
        return f"{self.status}: {periods}, {change}; {motion}{', tumbling' if n['tumbling'] else ''}"

    def _facts(self) -> dict[str, Any]:
        numbers = self.numbers()
        names = (row.name for row in shown_in(Outlets.NOTEBOOK))
        return {name: numbers[name] for name in names if numbers[name] is not None}

    def budget(self) -> Budget:
        """Energy and angular momentum before and just after the impact, part by part, and whether the books close."""
        return impact_budget(self.start.system, self.start.system.state, self.impact)

    def betas(self) -> tuple[BetaRow, ...]:
        """Beta by every name that this hit goes by, with frame and epoch; empty where nothing hit."""
        return beta_table(self.impact, self.start.system.state)

    def analytic_changes_s(self) -> dict[str, float]:
        """Closed-form estimates for the same velocity change, see closed_forms.py; none where nothing hit."""
        if self.status == MISS:
            return {}
        i = self.impact
        dv = np.array([i.dv_along_track_mm_s, i.dv_radial_mm_s, i.dv_normal_mm_s]) * 1e-3
        return analytic_changes(self.start.separation_m, self.start.period_h, self.start.system.oblateness_m2, dv)

    def numbers(self) -> dict[str, float | str | bool | None]:
        """Every outcome as one flat table, units in the names."""
        return outcomes_of(self)


@takes(scenario=("Scenario", None))
def predict(scenario: Scenario | None = None, *, progress: Progress | None = None) -> Prediction:
    """Predict what the impact of a scenario does, by default of the built-in one.

    progress: is told the stage and the share of it that is done.  Contact, escape, a miss, a failed step and the step
    limit are statuses of the result.  Raises InputError, ConvergenceError.

    >>> import binarydyn as bd
    >>> prediction = bd.predict()
    >>> prediction
    <Prediction completed: 10.420000 -> 9.981520 h, change -1578.529 s (fit 0.00043 s); e 0.02905, libration 12.048 deg>
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
    after = side_of(run, scenario.observation.estimator)
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
    change_s = result.period_change_s
    if change_s is not None and (ground := ground_error(begun, scenario, impact, change_s)):
        remark = ground.remark(change_s)
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
        return MISS if impact.status == "miss" else "no_impact"
    if impact.status == "grazing" and after.status == "completed":
        return "grazing"
    return after.status


def _all_periods(trajectory: Trajectory) -> dict[str, Estimate]:
    try:
        return periods(trajectory)
    except (FewCyclesError, InputError):
        return {}
