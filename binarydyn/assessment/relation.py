"""The simulated relation between push and period change over the uncertain inputs: built once, used for any draws.

The departure of full simulations (relation_runs.py) from the closed form on a Kepler orbit (along_track.py) is a
quadratic polynomial (emulator.py), whose leave-one-out error is told.  Valid where the outcomes are smooth: runs that
tumble or end early are left out of the fit, and draws nearest to one are pointed out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..scenario import Scenario
from .emulator import Quadratic
from .start import Start


@dataclass(frozen=True)
class Relation:
    """Departure of the period change from the closed form, s, over inputs and closed form, and what it was fitted to.

    nominal: the start at the stated values.  corrections: log ratios of the pair's masses and separations to Kepler's
    third law, over the inputs.  points (runs, inputs + 1): the design, closed form last; bad (runs,): which ended
    early, tumbled or were refused.  targets: range of the closed form that is covered, s.
    """

    scenario: Scenario
    nominal: Start
    departure: Quadratic
    corrections: dict[str, Quadratic]
    points: np.ndarray
    bad: np.ndarray
    targets: tuple[float, float]

    @property
    def runs(self) -> int:
        """Simulations."""
        return len(self.points)

    @property
    def left_out(self) -> int:
        """Simulations that ended early, tumbled or were refused."""
        return int(self.bad.sum())

    @property
    def error_s(self) -> float:
        """Leave-one-out error of the period change."""
        return self.departure.error

    @property
    def pair_error(self) -> float:
        """Relative, of the emulated masses and separations."""
        return float(max(fit.error for fit in self.corrections.values()))

    def closed_form_for(self, x: np.ndarray, change_s: np.ndarray) -> np.ndarray:
        """(n,) closed-form changes whose simulated ones are the given, at inputs (n, d).

        A fixed point that gains a digit or more a step.
        """
        target = change_s.copy()
        for _ in range(60):
            new = change_s - self.departure(np.column_stack([x, target]))
            moved, target = np.abs(new - target).max(), new
            if moved < 1e-7 * np.abs(change_s).max():
                break
        return target

    def nearest_is_bad(self, x: np.ndarray, target: np.ndarray) -> np.ndarray:
        """(n,) whether the simulation nearest to a draw, in sigmas of the design, tumbled or ended early."""
        if not self.left_out:
            return np.zeros(len(target), dtype=bool)
        z = self._scaled(np.column_stack([x, target]))
        return self.bad[self._tree.query(np.where(np.isfinite(z), z, 0.0))[1]]

    @cached_property
    def _tree(self):
        from scipy.spatial import cKDTree

        return cKDTree(self._scaled(self.points))

    def _scaled(self, points: np.ndarray) -> np.ndarray:
        return (points - self.departure.centre) / self.departure.width


def columns(inputs: Mapping[str, np.ndarray], count: int) -> np.ndarray:
    """(count, d) inputs side by side, in their order."""
    return np.column_stack(list(inputs.values())) if inputs else np.empty((count, 0))
