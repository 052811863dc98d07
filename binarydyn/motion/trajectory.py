"""What an integration returns: states at the asked times, how the run ended, and how well it conserved what it must."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import DAY_S
from ..kinds import WHOLE, takes
from .state import State, System

STATUSES = {0: "done", 1: "contact", 2: "escape", 3: "step_failure", 4: "step_limit"}


@dataclass(frozen=True)
class Trajectory:
    """Samples in ascending time, also for a run backwards.

    time_s (n,) from t0; y (n, 20) as State.vector.  status is one of STATUSES' words; after an early end
    the samples stop at the last instant reached.  energy_drift = max |E - E0| / (G M1 M2 / 2a),
    angular_momentum_drift = max |H - H0| / (m |r x v|), both over all samples; None with perturbations,
    which change both.
    """

    system: System
    time_s: np.ndarray
    y: np.ndarray
    status: str
    energy_drift: float | None
    angular_momentum_drift: float | None
    steps: int
    evaluations: int

    @property
    def position_m(self) -> np.ndarray:
        """(n, 3), from the primary to the secondary, inertial frame."""
        return self.y[:, 0:3]

    @property
    def velocity_m_s(self) -> np.ndarray:
        """(n, 3), inertial frame."""
        return self.y[:, 3:6]

    @property
    def attitude1(self) -> np.ndarray:
        """(n, 4), quaternion of the primary, body -> inertial."""
        return self.y[:, 6:10]

    @property
    def rate1_rad_s(self) -> np.ndarray:
        """(n, 3), angular rate of the primary in its own frame."""
        return self.y[:, 10:13]

    @property
    def attitude2(self) -> np.ndarray:
        """(n, 4), quaternion of the secondary, body -> inertial."""
        return self.y[:, 13:17]

    @property
    def rate2_rad_s(self) -> np.ndarray:
        """(n, 3), angular rate of the secondary in its own frame."""
        return self.y[:, 17:20]

    @property
    def days(self) -> float:
        """Length of the window that was covered."""
        return float(self.time_s[-1] - self.time_s[0]) / DAY_S

    @takes(k=WHOLE)
    def state(self, k: int) -> State:
        """The k-th sample as a State."""
        return State.from_vector(self.y[k])
