"""What an integration returns: states at the asked times, how the run ended, and how well it conserved what it must."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np

from ..constants import DAY_S
from ..kinds import WHOLE, check_kind
from ..notebook import Displayed, later
from .layout import ATTITUDE1, ATTITUDE2, POSITION, RATE1, RATE2, VELOCITY
from .state import State, System

STATUSES = ("completed", "contact", "escape", "step_failure", "step_limit")


@dataclass(frozen=True, eq=False, repr=False)
class Trajectory(Displayed):
    """Samples in ascending time, also for a run backwards; `simulate` makes one.

    time_s (n,) from t0; y (n, 20) as State.vector; both cannot be changed.  status is one of STATUSES' words; after an
    early end the samples stop at the last instant reached.  relative_energy_error = max |E - E0| / (G M1 M2 / 2a),
    relative_angular_momentum_error = max |H - H0| / (m |r x v|), both over all samples; None with perturbations,
    which change both.  `len` counts samples, `run[k]` is one as a State, `run[a:b]` some of them as a Trajectory.

    >>> import binarydyn as bd
    >>> run = bd.simulate(bd.build(bd.example()), days=5.0)
    >>> run  # doctest: +ELLIPSIS
    <Trajectory 5.0 days, 361 samples, completed; degree 4, rungekutta; relative energy error ...e-1...>
    >>> print(len(run[:73]), run[72].position_m.round(1), run.yaw_deg.shape)
    73 [-269.7  775.5    0. ] (361,)
    """

    system: System
    time_s: np.ndarray
    y: np.ndarray
    status: str
    relative_energy_error: float | None
    relative_angular_momentum_error: float | None
    steps: int
    evaluations: int

    def __post_init__(self):
        for array in (self.time_s, self.y):
            array.flags.writeable = False

    def __len__(self) -> int:
        return len(self.time_s)

    def __getitem__(self, k: int | slice) -> State | Trajectory:
        if not isinstance(k, slice):
            check_kind("Trajectory[..]", k, WHOLE)
            return State.from_vector(self.y[k])
        return Trajectory(**self.parts | {"time_s": self.time_s[k], "y": self.y[k]})

    @property
    def parts(self) -> dict[str, Any]:
        """What a Trajectory is made of, by name."""
        return {each.name: getattr(self, each.name) for each in fields(Trajectory)}

    at = later("sky.motion_between:state_at")
    periods = later("observables.tables:periods_table")
    elements = later("observables.tables:elements")
    seen_from = later("observables.tables:seen_from")
    to_xarray = later("observables.tables:to_xarray")
    _attitude = later("observables.orientation:attitude")

    @cached_property
    def _angles(self) -> Any:
        return self._attitude()

    @property
    def roll_deg(self) -> np.ndarray:
        """(n,), deg, of the secondary in the orbiting frame; with pitch_deg and yaw_deg see AttitudeHistory."""
        return self._angles.roll_deg

    @property
    def pitch_deg(self) -> np.ndarray:
        """(n,), deg; see roll_deg."""
        return self._angles.pitch_deg

    @property
    def yaw_deg(self) -> np.ndarray:
        """(n,), deg, from the line of centres; see roll_deg."""
        return self._angles.yaw_deg

    @property
    def time_d(self) -> np.ndarray:
        """(n,), days from t0."""
        return self.time_s / DAY_S

    @property
    def position_m(self) -> np.ndarray:
        """(n, 3), from the primary to the secondary, inertial frame."""
        return self.y[:, POSITION]

    @property
    def velocity_m_s(self) -> np.ndarray:
        """(n, 3), inertial frame."""
        return self.y[:, VELOCITY]

    @property
    def attitude1(self) -> np.ndarray:
        """(n, 4), quaternion of the primary, body -> inertial."""
        return self.y[:, ATTITUDE1]

    @property
    def rate1_rad_s(self) -> np.ndarray:
        """(n, 3), angular rate of the primary in its own frame."""
        return self.y[:, RATE1]

    @property
    def attitude2(self) -> np.ndarray:
        """(n, 4), quaternion of the secondary, body -> inertial."""
        return self.y[:, ATTITUDE2]

    @property
    def rate2_rad_s(self) -> np.ndarray:
        """(n, 3), angular rate of the secondary in its own frame."""
        return self.y[:, RATE2]

    @property
    def days(self) -> float:
        """Length of the window that was covered."""
        return float(self.time_s[-1] - self.time_s[0]) / DAY_S

    def _line(self) -> str:
        drift = (
            "" if self.relative_energy_error is None else f"; relative energy error {self.relative_energy_error:.0e}"
        )
        how = f"degree {self.system.degree}, {self.system.integrator}"
        return f"{self.days:.1f} days, {len(self)} samples, {self.status}; {how}{drift}"

    def _facts(self) -> dict[str, Any]:
        names = ("days", "status", "relative_energy_error", "relative_angular_momentum_error", "steps", "evaluations")
        distance = np.linalg.norm(self.position_m, axis=1)
        return {name: getattr(self, name) for name in names} | {
            "samples": len(self),
            "separation_m": f"{distance.min():.2f} .. {distance.max():.2f}",
        }
