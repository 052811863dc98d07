"""How steep the secondary's ground becomes, and how much cohesion holds it together, over a run: where rigid ends.

A homogeneous ellipsoid of the body's outline and mean density under its own gravity, its turning and the primary's tide
(as of a point), per unit of place x in its frame:

    K = -2 pi G rho diag(A) - [w]^2 - [w'] + G M1/r^3 (3 r^ r^T - 1),   A_x = 2/3 a b c R_D(b^2, c^2, a^2)

Slope: between -K x and the normal at x.  Stress, mean over the volume: rho (K diag(a^2) + its transpose)/10, tension
above 0; Drucker and Prager's criterion with a friction angle then says which cohesion it takes (Holsapple 2007, Icarus
187, 500; the form of the criterion from memory).  Valid to what a mean over the whole says: a weaker skin goes first.
w' is that of free turning; the primary's torque is left out, some 3/2 n^2 (B - A)/C of 2 n^2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from ..bodies import Ellipsoid
from ..constants import G
from ..motion.layout import RATE2
from ..motion.trajectory import Trajectory
from .orientation import rotation_matrices

FRICTION_DEG = 35.0
"""Of rubble, and the slope at which it slides (common practice: 30 to 40)."""
_SAMPLES, _POINTS = 100, 64


@dataclass(frozen=True)
class GroundHold:
    """Over the samples of a run: the steepest slope, deg, beyond 90 where the ground is lifted off, and the largest
    cohesion, Pa, that it takes at FRICTION_DEG; 0 where friction is enough."""

    slope_max_deg: float
    needed_cohesion_Pa: float


@lru_cache(maxsize=4)
def ground_hold(run: Trajectory) -> GroundHold | None:
    """None where the secondary's outline is no ellipsoid."""
    body: Any = run.system.secondary
    outer = getattr(body, "shape", body)
    if not isinstance(outer, Ellipsoid):
        return None
    turn = body.axes @ outer.axes.T
    pulls = _pulls(run, np.array(outer.semi_axes_m), turn)
    needed = needed_cohesion_Pa(pulls, outer.semi_axes_m, body.density_kg_m3)
    worst = int(np.argmax(needed))
    some = np.unique(np.append(np.linspace(0, len(pulls) - 1, min(_SAMPLES, len(pulls))).astype(int), worst))
    return GroundHold(float(slopes_deg(pulls[some], outer.semi_axes_m).max()), float(needed[worst]))


def _pulls(run: Trajectory, semi_axes_m: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """K (n, 3, 3), 1/s2, in the frame of the outline; turn (3, 3) from there to the principal frame."""
    body = run.system.secondary
    rate, inertia = run.y[:, RATE2], body.inertia_kg_m2
    change = -np.cross(rate, rate * inertia) / inertia
    away = np.einsum("kia,ki->ka", rotation_matrices(run.attitude2), run.position_m)
    distance = np.linalg.norm(away, axis=1)
    w, change, towards = (vectors @ turn for vectors in (rate, change, away / distance[:, None]))
    tide = 3.0 * np.einsum("ki,kj->kij", towards, towards) - np.eye(3)
    tide = G * run.system.primary.mass_kg / distance[:, None, None] ** 3 * tide
    turning = _crossing(w)
    own = np.diag(2.0 * math.pi * G * body.density_kg_m3 * self_pulls(semi_axes_m))
    return tide - own - turning @ turning - _crossing(change)


def self_pulls(semi_axes_m) -> np.ndarray:
    """(3,) A_i of a homogeneous ellipsoid, whose sum is 2 (Chandrasekhar 1969, Ellipsoidal Figures of Equilibrium)."""
    from scipy.special import elliprd

    a, b, c = np.asarray(semi_axes_m, dtype=float) ** 2
    return 2.0 / 3.0 * math.sqrt(a * b * c) * np.array([elliprd(b, c, a), elliprd(c, a, b), elliprd(a, b, c)])


def slopes_deg(pulls: np.ndarray, semi_axes_m) -> np.ndarray:
    """(n, points) angles between what pulls down, -K x, and the normal, at points spread evenly over the ellipsoid."""
    axes = np.asarray(semi_axes_m, dtype=float)
    z = 1.0 - (2.0 * np.arange(_POINTS) + 1.0) / _POINTS
    azimuth = np.pi * (1.0 + math.sqrt(5.0)) * np.arange(_POINTS)
    ball = np.stack([np.sqrt(1.0 - z**2) * np.cos(azimuth), np.sqrt(1.0 - z**2) * np.sin(azimuth), z], axis=1)
    ball = np.concatenate([ball, np.eye(3), -np.eye(3)])
    up = -np.einsum("kij,pj->kpi", pulls, ball * axes)
    normal = ball / axes
    sizes = np.linalg.norm(up, axis=2) * np.linalg.norm(normal, axis=1)
    return np.degrees(np.arccos(np.clip(np.einsum("kpi,pi->kp", up, normal) / sizes, -1.0, 1.0)))


def needed_cohesion_Pa(
    pulls: np.ndarray, semi_axes_m, density_kg_m3: float, friction_deg: float = FRICTION_DEG
) -> np.ndarray:
    """(n,) cohesion at which the mean stress is on Drucker and Prager's cone through Mohr and Coulomb's outer edges."""
    moment = pulls * np.square(semi_axes_m)
    stress = 0.1 * density_kg_m3 * (moment + moment.transpose(0, 2, 1))
    trace = np.trace(stress, axis1=1, axis2=2)
    off = stress - trace[:, None, None] / 3.0 * np.eye(3)
    sine = math.sin(math.radians(friction_deg))
    cone = math.sqrt(3.0) * (3.0 - sine)
    shear = np.sqrt(0.5 * np.einsum("kij,kij->k", off, off))
    return np.maximum(0.0, (shear + 2.0 * sine / cone * trace) * cone / (6.0 * math.cos(math.radians(friction_deg))))


def _crossing(w: np.ndarray) -> np.ndarray:
    """(n, 3, 3) of w x, for vectors (n, 3)."""
    x, y, z = w.T
    none = np.zeros_like(x)
    return np.array([[none, -z, y], [z, none, -x], [-y, x, none]]).transpose(2, 0, 1)
