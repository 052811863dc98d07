"""What the panels need of a prediction, whether it was just made or comes from a file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..constants import DAY_S
from ..kinds import check_kind
from ..motion.trajectory import Trajectory
from ..observables import AttitudeHistory
from ..prediction.windows import Side


@dataclass(frozen=True)
class SeenSide:
    """One window: the run, its mean period (s) and the single ones, and how the secondary is turned, where measured."""

    trajectory: Trajectory
    period_s: float | None
    single_orbit_periods_s: np.ndarray
    attitude: AttitudeHistory | None

    @property
    def cycle_days(self) -> np.ndarray:
        """(m,) middle of each cycle, days from t0; cycles are counted from the first sample."""
        ends = self.trajectory.time_s[0] + np.append(0.0, np.cumsum(self.single_orbit_periods_s))
        return 0.5 * (ends[1:] + ends[:-1]) / DAY_S


@dataclass(frozen=True)
class Seen:
    """Both windows and the table of numbers."""

    name: str
    numbers: dict[str, Any]
    before: SeenSide
    after: SeenSide

    @property
    def event(self) -> str:
        """What happened at t0, in a word or two."""
        return {"miss": "miss", "no_impact": "no impact"}.get(self.numbers["status"], "impact")

    @property
    def days(self) -> tuple[float, float]:
        """What a time axis shows: both windows, less of the first where the second ended early, to keep it legible."""
        low, high = self.before.trajectory.time_s[0] / DAY_S, self.after.trajectory.time_s[-1] / DAY_S
        if self.after.trajectory.status != "completed":
            low = max(low, -max(high, 5.0 * (self.before.period_s or np.inf) / DAY_S))
        return float(low), float(high)


def seen(result: Any) -> Seen:
    """From a Prediction.  KindError for anything else."""
    if isinstance(result, Seen):
        return result
    check_kind("plot", result, "Prediction")
    return Seen(name_of(result), result.numbers(), _side(result.before), _side(result.after))


def _side(side: Side) -> SeenSide:
    return SeenSide(side, side.period.value_s if side.period else None, side.single_orbit_periods_s, side.attitude)


def name_of(result: Any) -> str:
    """What the scenario is called; a stored result knows it without reading the scenario again."""
    name = getattr(result, "scenario_name", "") or result.scenario.name or "scenario without a name"
    return name.replace("$", r"\$")  # a name is no formula
