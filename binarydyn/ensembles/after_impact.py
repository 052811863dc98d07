"""Windows after an impact by the thousand: periods, and whether each run is regular, from runs in fast lanes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..assessment.trust import TWIST_RAD, UNSTABLE, attitude_angle, companions
from ..dynamics import State, System
from .cases import accumulated, cases

_TURNED_DEG = 90.0


def in_lanes(systems: Sequence[System], states: Sequence[State], days: float) -> tuple[np.ndarray, np.ndarray]:
    """Periods (n,), s, after states at t0, and whether each run is regular (n,).

    Regular: the bodies stay apart, the moonlet does not turn over, and none of the four companions of assessment.trust
    grows farther away than regular motion takes it, by its attitude and position at the end of the window.
    """
    periods, regular = np.full(len(systems), np.nan), np.zeros(len(systems), dtype=bool)
    numbers = [system.gravity_model for system in systems]
    for number in dict.fromkeys(numbers):
        chosen = [k for k, other in enumerate(numbers) if other == number]
        beside = [[states[k], *companions(states[k])] for k in chosen]
        size = len(beside[0])
        given = cases([systems[k] for k in chosen for _ in range(size)], [state for five in beside for state in five])
        found = accumulated(given, days)
        ends = found.state.reshape(20, len(chosen), size)
        calm = (found.long_axis_angle_max_deg < _TURNED_DEG) & (found.tilt_max_deg < _TURNED_DEG) & found.fits
        calm = calm.reshape(len(chosen), size)[:, 0]
        periods[chosen] = found.period_s.reshape(len(chosen), size)[:, 0]
        regular[chosen] = calm & (_growth(ends) <= UNSTABLE * max(1.0, abs(days) / 60.0))
    return periods, regular


def _growth(ends: np.ndarray) -> np.ndarray:
    """(n,) largest angle between a companion and its run at the end, over that at the start; ends (20, n, 5)."""
    with np.errstate(all="ignore"):
        r = ends[:3] / np.linalg.norm(ends[:3], axis=0)
        q = ends[13:17] / np.linalg.norm(ends[13:17], axis=0)
    moved = np.linalg.norm(r[:, :, 1:] - r[:, :, :1], axis=0)
    turned = attitude_angle(q[:, :, 1:], q[:, :, :1], axis=0)
    growth = np.maximum(moved, turned).max(axis=1) / TWIST_RAD
    return np.where(np.isfinite(growth), growth, np.inf)
