"""Small motions about a relative equilibrium: their frequencies, their growth, and whether the energy is least there.

In the frame that turns with the equilibrium the equations of motion read x' = A x.  With F = E - n H_z - sum sigma L_z
(sigma: spin beyond n of a body that is round about z) they are Hamilton's and Euler's with F for the energy, so A and
the second derivative Q of F are two forms of one thing (Lie-Poisson equations, Marsden & Ratiu 1999, Introduction to
Mechanics and Symmetry, 2nd ed., ch. 1 and 15).  Motions that only turn or tilt the whole system in space are left out:
A acts on displacements that keep the angular momentum, modulo turns about it.  Where Q is positive there, the
equilibrium is stable in Liapunov's sense and the energy least at this angular momentum (Scheeres 2009, CMDA 104, 103);
elsewhere it may still be spectrally stable, and dissipation then decides otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from ..motion.layout import ATTITUDE1, ATTITUDE2, POSITION, RATE1, RATE2, VELOCITY
from ..vectors import rotation_of_quaternion
from .displacement import FREE, SPINS, TURNS, displaced

UNSTABLE = 1e-6
"""Growth over the orbital rate that counts: differences are good to 1e-12, double roots to the root of that."""
LEAST = 1e-9
"""Second derivative, over that of the kinetic energy, from which on the energy counts as least."""
_DIFFERENCE = 2e-3
"""Step of the differences of sixth order, of the sizes: truncation and rounding both leave about 1e-13."""
_STENCIL = ((1, 45.0 / 60.0), (2, -9.0 / 60.0), (3, 1.0 / 60.0))
RATES = (RATE1, RATE2)
_PLANAR, _TILTS = ("primary_libration", "libration"), ("primary_pole", "secondary_roll_pitch")


@dataclass(frozen=True)
class LinearMode:
    """One small motion exp(eigenvalue t) in the rotating frame; shape (18,) as displacement.py orders it, SI."""

    name: str
    eigenvalue_rad_s: complex
    shape: np.ndarray

    @property
    def rate_rad_s(self) -> float:
        """Angular frequency, 0 for one that only grows."""
        return abs(self.eigenvalue_rad_s.imag)

    @property
    def period_h(self) -> float:
        """2 pi / rate, inf for one that only grows."""
        return 2.0 * np.pi / self.rate_rad_s / HOUR_S if self.rate_rad_s > 0.0 else float("inf")

    @property
    def growth_rad_s(self) -> float:
        """g in exp(g t), 1/s; rounding away from 0 where the motion is stable."""
        return self.eigenvalue_rad_s.real


@dataclass(frozen=True)
class Pair:
    """What the linear motion needs to know of the bodies.

    Reduced mass, inertias (2, 3), rate n, about which principal axes each is round, so that turns change nothing, and
    which bodies have a spin of their own.
    """

    reduced_mass_kg: float
    inertia_kg_m2: np.ndarray
    rate_rad_s: float
    round_axes: tuple[tuple[int, ...], tuple[int, ...]]
    own_spin: tuple[bool, bool]

    @property
    def energy_scale(self) -> np.ndarray:
        """(18,) displacements of equal kinetic energy: 1/(n sqrt m), 1/sqrt m, 1/(n sqrt I), 1/sqrt I."""
        fast = 1.0 / np.sqrt(np.concatenate([np.full(3, self.reduced_mass_kg), self.inertia_kg_m2.ravel()]))
        parts = fast.reshape(3, 3)
        return np.concatenate([half for part in parts for half in (part / self.rate_rad_s, part)])


def rotations(y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rotation matrices body -> inertial of both bodies in the state (20,)."""
    one, two = (np.reshape(rotation_of_quaternion(*y[attitude]), (3, 3)) for attitude in (ATTITUDE1, ATTITUDE2))
    return one, two


def linearised(drift: Callable[[np.ndarray], np.ndarray], y: np.ndarray, scale: np.ndarray) -> np.ndarray:
    """A (18, 18), SI: the derivative of drift(y) (18,) to displacements, by central differences of sixth order."""
    columns = []
    for i in range(FREE):
        move, column = np.zeros(FREE), 0.0
        for steps, weight in _STENCIL:
            move[i] = steps * _DIFFERENCE * scale[i]
            column = column + weight * (drift(displaced(y, move)) - drift(displaced(y, -move)))
        columns.append(column / (_DIFFERENCE * scale[i]))
    return np.array(columns).T


def momentum(pair: Pair, y: np.ndarray) -> np.ndarray:
    """(3,) total angular momentum about the centre of mass, inertial, kg m2/s."""
    spins = sum(C @ (i * y[rate]) for C, i, rate in zip(rotations(y), pair.inertia_kg_m2, RATES, strict=True))
    return pair.reduced_mass_kg * np.cross(y[POSITION], y[VELOCITY]) + spins


def integrals(pair: Pair, y: np.ndarray, spins_of: tuple[bool, bool]) -> np.ndarray:
    """Derivatives (3 + .., 18) of the angular momentum, and of the spins of these bodies about their round axes."""
    rows = np.zeros((3, FREE))
    for i in range(3):
        unit = np.eye(3)[i]
        rows[:, i] = pair.reduced_mass_kg * np.cross(unit, y[VELOCITY])
        rows[:, 3 + i] = pair.reduced_mass_kg * np.cross(y[POSITION], unit)
    spins = []
    for k, C in enumerate(rotations(y)):
        inertia = pair.inertia_kg_m2[k]
        rows[:, TURNS[k]] = C @ np.cross(np.eye(3), inertia * y[RATES[k]]).T
        rows[:, SPINS[k]] = C * inertia
        spins += [inertia[axis] * np.eye(FREE)[SPINS[k]][axis] for axis in pair.round_axes[k] if spins_of[k]]
    return np.vstack([rows, *spins])


def symmetries(pair: Pair, y: np.ndarray) -> np.ndarray:
    """Displacements (1 + round axes, 18) that change nothing: turns of all about z, of round bodies about their own."""
    z, C = np.array([0.0, 0.0, 1.0]), rotations(y)
    whole = np.concatenate(
        [np.cross(z, y[POSITION]), np.cross(z, y[VELOCITY]), C[0][2], np.zeros(3), C[1][2], np.zeros(3)]
    )
    rows = [whole]
    for k in (0, 1):
        for axis in pair.round_axes[k]:
            own, unit = np.zeros(FREE), np.eye(3)[axis]
            own[TURNS[k]], own[SPINS[k]] = unit, -np.cross(unit, y[RATES[k]])
            rows.append(own)
    return np.array(rows)


def second_derivative(pair: Pair, A: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Q (18, 18), J over displacements, from A.

    r' = F_v / m, v' = -F_r / m, turn' = F_w / I, I w' = I w x turn' - F_turn; symmetric as far as A is exact.
    """
    m = pair.reduced_mass_kg
    rows = [-m * A[VELOCITY], m * A[POSITION]]
    for k in (0, 1):
        inertia = pair.inertia_kg_m2[k]
        spin, turn, rate = inertia * y[RATES[k]], A[TURNS[k]], A[SPINS[k]]
        rows += [np.cross(spin, turn.T).T - inertia[:, None] * rate, inertia[:, None] * turn]
    return np.vstack(rows)


def _basis(pair: Pair, y: np.ndarray, spins_of: tuple[bool, bool]) -> np.ndarray:
    """Orthonormal columns, in the energy scale: displacements that keep the integrals, modulo the symmetries."""
    scale = pair.energy_scale
    kept, idle = integrals(pair, y, spins_of) * scale, symmetries(pair, y) / scale
    kept /= np.linalg.norm(kept, axis=1, keepdims=True)
    idle /= np.linalg.norm(idle, axis=1, keepdims=True)
    # Of a sphere's turns only the one about its spin keeps the spin's direction in the body.
    rows = np.vstack([kept, idle[np.abs(idle @ kept.T).max(axis=1) < 1e-6]])
    return np.linalg.qr(rows.T, mode="complete")[0][:, len(rows) :]


def spectrum(pair: Pair, A: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, tuple[LinearMode, ...], bool]:
    """Eigenvalues (rad/s) without the trivial ones; modes, fastest first; whether the energy is least."""
    scale, n, basis = pair.energy_scale, pair.rate_rad_s, _basis(pair, y, (True, True))
    values, vectors = np.linalg.eig(basis.T @ (A * scale / scale[:, None] / n) @ basis)
    once = [i for i, v in enumerate(values) if v.imag > UNSTABLE or (abs(v.imag) <= UNSTABLE and v.real > UNSTABLE)]
    shapes = (basis @ vectors[:, once]).T
    names = _names(pair, y, shapes)
    found = [
        LinearMode(name, complex(n * values[i]), s * scale) for name, i, s in zip(names, once, shapes, strict=True)
    ]
    # Dissipation changes the spin of a round body too, unless it is to stay as given.
    basis = _basis(pair, y, pair.own_spin)
    Q = basis.T @ (second_derivative(pair, A, y) * scale * scale[:, None]) @ basis
    least = bool(np.linalg.eigvalsh(0.5 * (Q + Q.T)).min() > LEAST)
    return n * values, tuple(sorted(found, key=lambda m: (-m.rate_rad_s, -m.growth_rad_s))), least


def _names(pair: Pair, y: np.ndarray, shapes: np.ndarray) -> list[str]:
    """Each mode after the part whose motion has most of its kinetic energy, each name as often as there are motions."""
    from scipy.optimize import linear_sum_assignment

    slots = {"epicyclic": np.sum(np.abs(shapes[:, 0:2]) ** 2, axis=1), "out_of_plane": np.abs(shapes[:, 2]) ** 2}
    names = list(slots)
    for k, C in enumerate(rotations(y)):
        root = np.sqrt(pair.inertia_kg_m2[k])
        turns = shapes[:, TURNS[k]]
        yaw = np.abs((turns / root) @ C[2]) ** 2 * (C[2] ** 2 @ root**2)
        slots[_PLANAR[k]] = yaw
        slots[_TILTS[k]] = np.sum(np.abs(turns) ** 2, axis=1) - yaw
        names += [_TILTS[k], _TILTS[k], _PLANAR[k]]
    cost = -np.array([slots[name] for name in names]).T / np.sum(np.abs(shapes) ** 2, axis=1)[:, None]
    return [names[slot] for slot in linear_sum_assignment(cost)[1]]
