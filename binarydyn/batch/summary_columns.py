"""The columns of a summary table, as the table of outcomes names them, while they are filled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from ..observables.chaos import covered_days, is_chaotic
from ..observables.orientation import lost_lock
from ..prediction.outcome import FLAG, Outcome, Outlets
from ..prediction.outcomes import shown_in

OF_NEIGHBOURS = ("divergence_factor_at_end", "chaotic_after", "period_change_neighbour_sd_s")
BEFORE = ("divergence_factor_before", "chaotic_before")


@dataclass(frozen=True)
class SummaryColumns:
    """The columns of a block while they are filled: numbers nan, the flag -1, until they are known.

    before_spread_s (n,): of the period before t0, over a run and its neighbouring trajectories.
    """

    members: np.ndarray
    columns: dict[str, np.ndarray]
    status: np.ndarray
    reason: np.ndarray
    before_spread_s: np.ndarray

    @classmethod
    def of(cls, members: np.ndarray, chaos: bool = False) -> SummaryColumns:
        """Nothing is known yet."""
        count, asked = len(members), Outlets.SUMMARY | (Outlets.NEIGHBOURS if chaos else Outlets.NOWHERE)
        columns = {row.name: _unknown(row, count) for row in shown_in(asked)}
        status, reason = (np.full(count, "", dtype=object) for _ in range(2))
        return cls(members, columns, status, reason, np.zeros(count))

    @property
    def chaos(self) -> bool:
        """Whether they were asked for."""
        return BEFORE[0] in self.columns

    def end(self, place: int, status: str, reason: str) -> None:
        """How a member ended, unless that is known already."""
        if not self.status[place]:
            self.status[place], self.reason[place] = status, reason

    def end_well(self, places: np.ndarray) -> None:
        """Members of which nothing else is known are done."""
        open_ones = places[self.status[places] == ""]
        self.status[open_ones] = "completed"

    def note_window(
        self,
        places: np.ndarray,
        period_h: np.ndarray,
        nearest_m: np.ndarray,
        farthest_m: np.ndarray,
        long_axis_deg: np.ndarray,
        tilt_deg: np.ndarray,
    ) -> None:
        """What the windows after the impacts of the members at these places say."""
        columns = self.columns
        columns["period_after_h"][places] = period_h
        columns["period_change_s"][places] = (period_h - columns["period_before_h"][places]) * HOUR_S
        columns["separation_min_after_m"][places] = nearest_m
        columns["separation_max_after_m"][places] = farthest_m
        columns["long_axis_misalignment_max_after_deg"][places] = long_axis_deg
        columns["pole_tilt_max_after_deg"][places] = tilt_deg
        columns["lost_lock_after"][places] = lost_lock(long_axis_deg, tilt_deg)

    def note_before(self, places, growth, spread_s, days: float) -> None:
        """What neighbouring trajectories say of the windows before t0 of the members at these places, if they were
        asked for."""
        if self.chaos:
            self.columns[BEFORE[0]][places] = growth
            self.columns[BEFORE[1]][places] = is_chaotic(growth, covered_days(days))
            self.before_spread_s[places] = spread_s

    def note_growth(self, places: np.ndarray, growth: np.ndarray, chaotic: np.ndarray, spread_s: np.ndarray) -> None:
        """What the neighbouring trajectories of members say of the windows after their impacts; the spread is of both
        windows."""
        spread_s = np.hypot(spread_s, self.before_spread_s[places])
        for name, values in zip(OF_NEIGHBOURS, (growth, chaotic, spread_s), strict=True):
            self.columns[name][places] = values


def _unknown(row: Outcome, count: int) -> np.ndarray:
    return np.full(count, -1, dtype=np.int8) if row.kind == FLAG else np.full(count, np.nan)
