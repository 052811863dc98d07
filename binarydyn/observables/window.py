"""The stretch of a trajectory on which a period is measured: the longitude of r in the orbital plane of its start."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..errors import InputError
from ..motion.state import System
from ..motion.trajectory import Trajectory

_SAMPLES_NEEDED = 8
_LONGEST_STEP_RAD = 0.5 * np.pi


@dataclass(frozen=True)
class Window:
    """Longitude (unwrapped, 0 at the first sample, rising), its rate, and r and v themselves, at n ascending times."""

    system: System
    time_s: np.ndarray
    longitude_rad: np.ndarray
    rate_rad_s: np.ndarray
    position_m: np.ndarray
    velocity_m_s: np.ndarray

    @property
    def cycles(self) -> float:
        """Turns of r about the primary."""
        return float(self.longitude_rad[-1] - self.longitude_rad[0]) / (2.0 * np.pi)

    @cached_property
    def separation_m(self) -> np.ndarray:
        """(n,) |r|."""
        return np.linalg.norm(self.position_m, axis=1)

    @cached_property
    def radial_m_s(self) -> np.ndarray:
        """(n,) d|r|/dt."""
        return np.einsum("ij,ij->i", self.position_m, self.velocity_m_s) / self.separation_m

    def part(self, start: float, stop: float) -> Window:
        """The samples between two fractions of the window's length."""
        span = self.time_s[-1] - self.time_s[0]
        i, j = np.searchsorted(
            self.time_s, self.time_s[0] + span * np.array([start, stop]) + 1e-9 * span * np.array([-1, 1])
        )
        arrays = (self.time_s, self.longitude_rad, self.rate_rad_s, self.position_m, self.velocity_m_s)
        return Window(self.system, *(array[i:j] for array in arrays))


def check_samples(trajectory: Trajectory) -> None:
    """Refuse a trajectory from which nothing can be measured.  Errors: InputError."""
    time = trajectory.time_s
    if len(time) < _SAMPLES_NEEDED:
        raise InputError(
            "trajectory",
            f"{len(time)} samples given, at least {_SAMPLES_NEEDED} are needed; run longer or sample more often",
        )
    if not (np.all(np.isfinite(time)) and np.all(np.isfinite(trajectory.y))):
        raise InputError(
            "trajectory", f"not all samples are finite numbers (the run ended with status {trajectory.status!r})"
        )
    if np.any(np.diff(time) <= 0.0):
        raise InputError("trajectory", "the sample times must ascend, also for a run backwards; reverse time_s and y")


def window(trajectory: Trajectory, normal: np.ndarray | None = None) -> Window:
    """Longitude of r, projected on a fixed plane, from its own direction at the first sample.

    normal (3,): normal of the plane in the inertial frame, any length; by default r x v at the first sample in time.
    Errors: InputError for too few, non-ascending, non-finite or too widely spaced samples, or a normal near the plane.
    """
    check_samples(trajectory)
    r, v, time = trajectory.position_m, trajectory.velocity_m_s, trajectory.time_s
    start = np.cross(r[0], v[0])
    z = np.asarray(start if normal is None else normal, dtype=float)
    tilt = float(z @ start / (np.linalg.norm(z) * np.linalg.norm(start))) if np.any(z) and np.any(start) else 0.0
    if not abs(tilt) > 0.1:
        raise InputError("normal", "the normal must leave the orbital plane by more than 6 deg; give one near r x v")
    z = z * np.copysign(1.0 / np.linalg.norm(z), tilt)  # the longitude rises with the motion
    x = r[0] - (r[0] @ z) * z
    x /= np.linalg.norm(x)
    axes = np.array([x, np.cross(z, x)])
    (px, py), (vx, vy) = axes @ r.T, axes @ v.T
    longitude = np.unwrap(np.arctan2(py, px))
    rate = (px * vy - py * vx) / (px * px + py * py)
    _check_spacing(time, longitude, rate)
    return Window(trajectory.system, time, longitude - longitude[0], rate, r, v)


def _check_spacing(time: np.ndarray, longitude: np.ndarray, rate: np.ndarray) -> None:
    """The turns between samples must be small, and be those that the rates give: else the unwrapping lost a turn."""
    turned, step = np.diff(longitude), np.diff(time)
    expected = 0.5 * (rate[1:] + rate[:-1]) * step
    if np.any(np.abs(expected) > _LONGEST_STEP_RAD) or np.any(np.abs(turned - expected) > 0.5):
        most = np.degrees(np.abs(expected).max())
        raise InputError(
            "trajectory", f"r turns by up to {most:.0f} deg between samples, at most 90 are allowed; sample more often"
        )
    if np.any(turned <= 0.0):
        raise InputError(
            "trajectory",
            "the longitude of r does not rise throughout: this is no orbit about the primary, so it has no period",
        )
