"""Where the bodies are at any instant of a run, between its samples too."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..motion.equations import quaternion_rate
from ..motion.trajectory import Trajectory
from ..observables.interpolation import pieces
from ..observables.orientation import rotations
from .figure import Figure

SAMPLES_A_TURN = 9
"""Of the primary: then the interpolated attitude is good to 1e-8, its quaternion turns half as fast as the body."""


@dataclass(frozen=True)
class Places:
    """Both figures at m instants: middles (m, 3), the primary's centre of mass at the origin, and axes (m, 3, 3)."""

    centre1_m: np.ndarray
    axes1: np.ndarray
    centre2_m: np.ndarray
    axes2: np.ndarray
    position_m: np.ndarray


class MotionBetween:
    """A run looked up at any time within it, by the polynomial of degree 7 through four samples and their rates."""

    def __init__(self, trajectory: Trajectory):
        if len(trajectory.time_s) < 4:
            raise InputError(
                "trajectory",
                f"{len(trajectory.time_s)} samples are given, at least 4 are allowed; use a longer window or a shorter "
                "sample_minutes",
            )
        self.trajectory = trajectory
        self.figures = Figure.of(trajectory.system.primary), Figure.of(trajectory.system.secondary)
        q1, q2 = trajectory.attitude1, trajectory.attitude2
        self._value = np.hstack([trajectory.position_m, _unbroken(q1), _unbroken(q2)])
        rates = [
            np.stack(quaternion_rate(_unbroken(q).T, w.T), axis=1)
            for q, w in ((q1, trajectory.rate1_rad_s), (q2, trajectory.rate2_rad_s))
        ]
        self._rate = np.hstack([trajectory.velocity_m_s, *rates])

    @property
    def start_s(self) -> float:
        """First instant."""
        return float(self.trajectory.time_s[0])

    @property
    def end_s(self) -> float:
        """Last instant."""
        return float(self.trajectory.time_s[-1])

    def _at(self, time_s: np.ndarray, columns: slice) -> np.ndarray:
        times = self.trajectory.time_s
        k = np.clip(np.searchsorted(times, time_s, side="right") - 1, 0, len(times) - 2)
        piece = pieces(times, self._value[:, columns], self._rate[:, columns], k)
        return piece.at((time_s - piece.origin_s)[:, None])[0]

    def position_m(self, time_s: np.ndarray) -> np.ndarray:
        """(m, 3) from the primary to the secondary."""
        return self._at(time_s, slice(0, 3))

    def places(self, time_s: np.ndarray) -> Places:
        """Both figures at times (m,) within the run."""
        y = self._at(time_s, slice(0, 11))
        one, two = self.figures
        centre1, axes1 = one.placed(np.zeros((len(y), 3)), rotations(y[:, 3:7]))
        centre2, axes2 = two.placed(y[:, 0:3], rotations(y[:, 7:11]))
        return Places(centre1, axes1, centre2, axes2, y[:, 0:3])


def _unbroken(quaternion: np.ndarray) -> np.ndarray:
    """(n, 4) the same attitudes, each with the sign that is nearer to the one before it."""
    flips = np.sum(quaternion[1:] * quaternion[:-1], axis=1) < 0.0
    return quaternion * np.where(np.cumsum(np.insert(flips, 0, False)) % 2 == 1, -1.0, 1.0)[:, None]
