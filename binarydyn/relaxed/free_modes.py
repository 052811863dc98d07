"""Free modes around the relaxed state: frequencies, growth and shapes from the linearised return map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from .periodic import PeriodicOrbit

GROWTH_LIMIT = 1e-4
"""Departure of |multiplier| from 1 that counts as instability.

The numerical map is good to 1e-6, double roots at 1 to its root.
"""


@dataclass(frozen=True)
class Mode:
    """One free mode.

    Its name, its frequency (known only modulo the turn of the primary), growth per orbit, shape (18,) in the map's
    units.
    """

    name: str
    period_h: float
    rate_rad_s: float
    growth_per_orbit: float
    shape: np.ndarray

    @property
    def stable(self) -> bool:
        """True where a small amplitude stays small."""
        return abs(self.growth_per_orbit - 1.0) < GROWTH_LIMIT


def free_modes(orbit: PeriodicOrbit) -> list[Mode]:
    """Modes with a frequency other than zero, fastest first.

    Multipliers at 1 belong to the symmetries and are left out.
    """
    multipliers, shapes = np.linalg.eig(orbit.return_map)
    per_orbit = 2.0 * np.pi / (orbit.rate_rad_s * orbit.turn_s)
    found = []
    for multiplier, shape in zip(multipliers, shapes.T, strict=True):
        angle, size = np.angle(multiplier), abs(multiplier)
        if angle < 1e-3 and abs(size - 1.0) < 1e-2:
            continue
        if angle < 0.0:
            continue
        rate = angle / orbit.turn_s
        period = 2.0 * np.pi / rate / HOUR_S if rate > 0.0 else float("inf")
        found.append(Mode(_name(shape), period, rate, float(size**per_orbit), shape))
    return sorted(found, key=lambda mode: -mode.rate_rad_s)


def _name(shape: np.ndarray) -> str:
    """After the part that moves most.

    Position in the plane or out of it, the yaw of the secondary against the line of centres, ..
    """
    yaw = abs(yaw_of(shape))
    parts = {
        "epicyclic": 2.0 * abs(shape[0]),
        "libration": yaw,
        "out_of_plane": abs(shape[2]),
        "secondary_roll_pitch": max(abs(shape[12]), abs(shape[13])),
        "primary_pole": max(abs(shape[6]), abs(shape[7])),
        "primary_spin": abs(shape[8]),
    }
    if parts["epicyclic"] > 0.1 * yaw and parts["epicyclic"] > 1e-3:
        parts["libration"] = 0.0
    return max(parts, key=parts.__getitem__)


def yaw_of(shape: np.ndarray) -> complex:
    """Of the secondary against the line of centres, rad: its own turn less that of the line."""
    return shape[14] - shape[1]


def excited(orbit: PeriodicOrbit, mode: Mode, moves: complex, amplitude: float, phase_rad: float) -> np.ndarray:
    """Displacement (18,), SI, that sets the mode so that what `moves` in its shape (a component, the yaw) goes as
    amplitude cos(rate t + phase)."""
    return np.real(amplitude * np.exp(1j * phase_rad) * (mode.shape / moves)) * orbit.scale
