"""What leaves the system after an impact, and how fast it is far away: out of the secondary's well, then past the
primary.

Out of the secondary's well the speed falls to sqrt(v^2 - v_esc^2) and the direction stays; the secondary's own velocity
is added, and from the secondary's place on it is a two-body orbit about the mass of the system.  What is bound stays,
and so does what meets the primary on its way in; the rest goes along the asymptote, in the frame of the system's
barycentre

    v_far = V [(V/GM) h x e - e] / e^2,   V^2 = w^2 - 2 GM/r,   h = r x w,   e = w x h / GM - r/|r|.

Against particles that are followed in the field of both bodies beta of the system - 1 is right to a half per cent and
the mass to 4 % (tests/test_departure.py): what goes round the system first and is then driven out by it is not counted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import G
from ..motion.state import State, System
from ..vectors import rotation
from .ejecta import Crater

_AZIMUTHS = 32
_HALVINGS = 24


@dataclass(frozen=True)
class Stand:
    """Where the ejecta start and what pulls at them; vectors (3,), inertial.

    separation_m: from the primary to the secondary.  moonlet_m_s: velocity of the secondary from the barycentre;
    ground_m_s: of the site from the secondary's centre.  escape_speed_m_s: of the secondary alone, at the site.
    """

    separation_m: np.ndarray
    moonlet_m_s: np.ndarray
    ground_m_s: np.ndarray
    escape_speed_m_s: float
    gm_m3_s2: float
    primary_radius_m: float

    @classmethod
    def of(cls, system: System, state: State, point_m: np.ndarray) -> Stand:
        """At a point (3,) of the secondary's frame; the primary is taken for the ball of its volume."""
        share = system.primary.mass_kg / system.mass_kg
        return cls(
            separation_m=state.position_m,
            moonlet_m_s=share * state.velocity_m_s,
            ground_m_s=rotation(state.attitude2) @ np.cross(state.rate2_rad_s, point_m),
            escape_speed_m_s=float(np.sqrt(2.0 * G * system.secondary.mass_kg / np.linalg.norm(point_m))),
            gm_m3_s2=system.gm_m3_s2,
            primary_radius_m=float((3.0 * system.primary.volume_m3 / (4.0 * np.pi)) ** (1.0 / 3.0)),
        )

    def out_of_the_well(self, launch_m_s: np.ndarray) -> np.ndarray:
        """(..., 3) velocities from the secondary's centre once out of its well, of launches (..., 3) from the
        ground."""
        start = launch_m_s + self.ground_m_s
        square = np.einsum("...i,...i", start, start)
        left = np.sqrt(np.maximum(square - self.escape_speed_m_s**2, 0.0) / np.maximum(square, 1e-300))
        return start * left[..., None]

    def far_square(self, out_m_s: np.ndarray) -> np.ndarray:
        """V^2, negative where the system holds it, of velocities (..., 3) from the secondary, out of its well."""
        w = self.moonlet_m_s + out_m_s
        return np.einsum("...i,...i", w, w) - 2.0 * self.gm_m3_s2 / np.linalg.norm(self.separation_m)

    def far_away(self, out_m_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Velocities (..., 3) far from the system, zero for what stays, and (...) whether it leaves."""
        r, w, gm, square = self.separation_m, self.moonlet_m_s + out_m_s, self.gm_m3_s2, self.far_square(out_m_s)
        distance, speed = np.linalg.norm(r), np.sqrt(np.maximum(square, 0.0))
        h = np.cross(r, w)
        e = np.cross(w, h) / gm - r / distance
        e_square = np.maximum(np.einsum("...i,...i", e, e), 1e-300)
        nearest = np.einsum("...i,...i", h, h) / gm / (1.0 + np.sqrt(e_square))
        leaves = (square > 0.0) & ((w @ r > 0.0) | (nearest > self.primary_radius_m))
        along = ((speed / gm)[..., None] * np.cross(h, e) - e) / e_square[..., None]
        return np.where(leaves[..., None], along * speed[..., None], 0.0), leaves


@dataclass(frozen=True)
class Departed:
    """Momentum (3,) kg m/s, inertial, from the barycentre, and mass of the ejecta that leave the system."""

    momentum_kg_m_s: np.ndarray
    mass_kg: float


def departed(stand: Stand, crater: Crater, axis: np.ndarray, launch_angle_deg: float) -> Departed:
    """Sum over the cone of half angle 90 deg less the launch angle about `axis` (3,), and over what is launched."""
    cone = _cone(axis, np.radians(launch_angle_deg))
    x, mass = map(np.array, zip(*crater.launches(crater.reach_m(_slowest_m_s(stand, cone))), strict=True))
    launch = np.asarray(crater.launch_speed_m_s(x))[..., None] * cone
    velocity, leaves = stand.far_away(stand.out_of_the_well(launch))
    momentum = np.einsum("ij,ijk->k", mass, velocity) / len(cone)
    return Departed(momentum, float((mass * leaves).sum() / len(cone)))


def _cone(axis: np.ndarray, angle: float) -> np.ndarray:
    """(n, 3) unit vectors, `angle` above the plane across the axis."""
    first = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    first = first / np.linalg.norm(first)
    azimuth = 2.0 * np.pi * np.arange(_AZIMUTHS)[:, None] / _AZIMUTHS
    around = np.cos(azimuth) * first + np.sin(azimuth) * np.cross(axis, first)
    return np.sin(angle) * axis + np.cos(angle) * around


def _slowest_m_s(stand: Stand, cone: np.ndarray) -> np.ndarray:
    """(n,) launch speeds from which on the system does not hold what leaves along the cone, by halving.

    At least the secondary's escape speed, below which the ejecta count as falling back.
    """
    low = np.full(len(cone), stand.escape_speed_m_s)
    high = low + np.linalg.norm(stand.ground_m_s) + np.linalg.norm(stand.moonlet_m_s)
    high = high + np.sqrt(2.0 * stand.gm_m3_s2 / np.linalg.norm(stand.separation_m))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        free = stand.far_square(stand.out_of_the_well(middle[:, None] * cone)) > 0.0
        low, high = np.where(free, low, middle), np.where(free, middle, high)
    return high
