"""The frame that turns with a pair of rigid bodies, and Newton's search for where the system stands still in it.

At angular rate n about z:  r' = n z x r,  r'' = F/m = -n^2 r,  w_k = n C_k^T z,  tau_k = w_k x I_k w_k.  A body that is
round about z may also spin at its own rate about z: turns about it change nothing, so a frame that turns with it is as
good.  Newton's method on all eighteen displacements and n, with the full mutual potential and one quantity given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..bodies.averaged import round_axes
from ..errors import ConvergenceError
from ..gravity.models import model_number
from ..gravity.mutual import even_pair
from ..kinds import sure
from ..motion.equations import parameters, rates
from ..motion.layout import ATTITUDE1, ATTITUDE2, GM, POSITION, SIZE, VELOCITY, V
from ..motion.state import Body
from ..vectors import quaternion_product
from .displacement import FREE, displaced, shortened
from .stability import RATES, Pair, integrals, linearised, momentum, rotations

RESIDUAL = 1e-12
"""Largest change of any coordinate in 1/n, in its own size, that counts as standing still."""
ENOUGH = 1e-15
_RANK = 1e-10
_NEWTON_STEPS = 30
_HALF = 0.5**0.5
_ATTITUDES = {
    "long": (1.0, 0.0, 0.0, 0.0),
    "intermediate": (_HALF, 0.0, 0.0, -_HALF),
    "short": (0.5, 0.5, 0.5, 0.5),
}
FACINGS = tuple(_ATTITUDES)
"""Which principal axis of a body points at the other; the z axis is up, the y axis if "short" points there.

A minus before it turns the body by 180 deg, which is another arrangement only for bodies that are not even.
"""


class Turning:
    """One system, in the frame that turns with it."""

    def __init__(self, primary: Body, secondary: Body, spins_rad_s: tuple[float | None, float | None], degree: int):
        self.bodies, self.spins, self.degree = (primary, secondary), spins_rad_s, degree
        even = even_pair(primary, secondary)
        self.model = model_number(degree, even)
        self.constants, self.coefficients = parameters(primary, secondary, degree, even)
        self.round_axes = (round_axes(primary, degree), round_axes(secondary, degree))
        for body, spin, known in zip(("primary", "secondary"), spins_rad_s, self.round_axes, strict=True):
            if spin is not None and 2 not in known:
                raise ValueError(f"a spin of the {body} is given, allowed is that of a body round about z; average it")

    def pair(self, n: float) -> Pair:
        """What the linear motion needs."""
        masses = [body.mass_kg for body in self.bodies]
        inertia = np.array([body.inertia_kg_m2 for body in self.bodies])
        return Pair(
            masses[0] * masses[1] / sum(masses),
            inertia,
            n,
            self.round_axes,
            (self.spins[0] is not None, self.spins[1] is not None),
        )

    def drift(self, y: np.ndarray, n: float) -> np.ndarray:
        """(18,) what changes in the turning frame: of r, of v, turn and rate of each body."""
        work = np.zeros(2 * len(y))
        work[: len(y)] = y
        rates(self.model, work, 0, len(y), self.coefficients, self.constants)
        change = work[len(y) :]
        z = np.array([0.0, 0.0, 1.0])
        parts = [change[POSITION] - n * np.cross(z, y[POSITION]), change[VELOCITY] - n * np.cross(z, y[VELOCITY])]
        for C, spin, rate in zip(rotations(y), self.spins, RATES, strict=True):
            beyond = 0.0 if spin is None else spin - n
            parts += [y[rate] - n * C[2] - beyond * z, change[rate] + beyond * np.cross(z, y[rate])]
        return np.concatenate(parts)

    def size(self, a: float, n: float) -> np.ndarray:
        """(18,) what displacements are measured by."""
        return np.repeat((a, n * a, 1.0, max(abs(self.spins[0] or 0.0), n), 1.0, max(abs(self.spins[1] or 0.0), n)), 3)

    def first_state(self, a: float, facing: tuple[str, str]) -> tuple[np.ndarray, float]:
        """The arrangement with its axes exactly on the line of centres, and the rate that balances the force there."""
        y, work = np.zeros(20), np.zeros(40)
        y[0], y[ATTITUDE1], y[ATTITUDE2] = a, _attitude(facing[0], False), _attitude(facing[1], True)
        work[:20] = y
        rates(self.model, work, 0, SIZE, self.coefficients, self.constants)
        n = float(np.sqrt(max(-work[SIZE + V], 0.0) / a)) or float(np.sqrt(self.constants[GM] / a**3))
        y[4] = n * a
        for C, spin, rate in zip(rotations(y), self.spins, RATES, strict=True):
            y[rate] = n * C[2] if spin is None else (0.0, 0.0, spin)
        return y, n

    def range_m(self, angular_momentum: float) -> tuple[float, float]:
        """Where circular orbits of this angular momentum lie: from spheres that touch to 2 H^2/(G M m^2)."""
        near = sum(body.bounding_radius_m for body in self.bodies)
        own = sum(
            abs(body.inertia_kg_m2[2] * (spin or 0.0)) for body, spin in zip(self.bodies, self.spins, strict=True)
        )
        orbital = (abs(angular_momentum) + own) / self.pair(1.0).reduced_mass_kg
        return float(near), 2.0 * orbital**2 / float(self.constants[GM])


def _attitude(facing: str, backwards: bool) -> np.ndarray:
    word = facing.removeprefix("-")
    if word not in _ATTITUDES:
        raise ValueError(
            f"facing {facing!r} given, allowed are {', '.join(FACINGS)}, with or without a minus before it"
        )
    q = np.array(_ATTITUDES[word])
    return np.array(quaternion_product(0.0, 0.0, 0.0, 1.0, *q)) if facing.startswith("-") != backwards else q


@dataclass(frozen=True)
class Found:
    """A state (20,) that stands still at rate n, and the linearised motion A (18, 18) about it."""

    turning: Turning
    y: np.ndarray
    n: float
    A: np.ndarray
    residual: float

    @property
    def pair(self) -> Pair:
        """What the linear motion needs."""
        return self.turning.pair(self.n)

    @property
    def momentum(self) -> np.ndarray:
        """(3,) total angular momentum, kg m2/s."""
        return momentum(self.pair, self.y)

    @property
    def momentum_slope(self) -> float:
        """How the angular momentum about z changes with the separation along the family, kg m/s."""
        a = float(np.linalg.norm(self.y[POSITION]))
        size, last = self.turning.size(a, self.n), np.eye(FREE + 2)[-1]
        along = np.linalg.lstsq(_newton_matrix(self, True), last, rcond=_RANK)[0]
        return float(integrals(self.pair, self.y, (False, False))[2] @ (along[:FREE] * size)) / a


def _newton_matrix(at: Found, given_separation: bool) -> np.ndarray:
    """Derivatives (20, 19), relative, of drift, longitude and what is given, to displacements and log n."""
    y, n, drift = at.y, at.n, at.turning.drift
    size = at.turning.size(float(np.linalg.norm(y[POSITION])), n)
    out = np.zeros((FREE + 2, FREE + 1))
    out[:FREE, :FREE] = at.A * size / size[:, None] / n
    # The drift is linear in n, so a wide difference is exact.
    out[:FREE, FREE] = (drift(y, 1.5 * n) - drift(y, 0.5 * n)) / size / n
    out[FREE, 1] = 1.0
    out[FREE + 1, 0:3] = size[0] * y[POSITION] / (y[POSITION] @ y[POSITION]) if given_separation else 0.0
    out[FREE + 1, FREE] = 0.0 if given_separation else 1.0
    return out


def _tried(turning: Turning, y: np.ndarray, n: float, separation_m: float | None, rate_rad_s: float | None):
    """The linear motion about a state that need not stand still, and the conditions (20,) there, relative."""
    a = float(np.linalg.norm(y[POSITION]))
    size = turning.size(a, n)
    A = linearised(lambda moved: turning.drift(moved, n), y, size)
    given = np.log(a / separation_m) if separation_m else np.log(n / sure(rate_rad_s))
    value = np.concatenate([turning.drift(y, n) / size / n, [y[1] / a, given]])
    return Found(turning, y, n, A, float(np.max(np.abs(value)))), value


def search(turning: Turning, separation_m: float | None, rate_rad_s: float | None, facing: tuple[str, str]) -> Found:
    """Newton's method from an arrangement, until the conditions hold to RESIDUAL and no longer improve.

    Directions in which nothing changes stay put.  ConvergenceError where it ends elsewhere, or nowhere.
    """
    begin, n = turning.first_state(
        separation_m or float(np.cbrt(turning.constants[GM] / sure(rate_rad_s) ** 2)), facing
    )
    y, best, step = begin, np.inf, 0
    while step < _NEWTON_STEPS:
        step += 1
        found, value = _tried(turning, y, n, separation_m, rate_rad_s)
        if not np.isfinite(found.residual) or (found.residual < RESIDUAL and found.residual >= 0.1 * best):
            break
        best = min(best, found.residual)
        if best < ENOUGH:
            break
        move = shortened(np.linalg.lstsq(_newton_matrix(found, separation_m is not None), -value, rcond=_RANK)[0])
        size = turning.size(float(np.linalg.norm(y[POSITION])), n)
        y, n = displaced(y, move[:FREE] * size), n * float(np.exp(move[FREE]))
    if not found.residual < RESIDUAL:
        raise ConvergenceError(f"no relative equilibrium was found near {'-'.join(facing)}", found.residual, step)
    if min(abs(begin[part] @ found.y[part]) for part in (ATTITUDE1, ATTITUDE2)) < np.cos(np.pi / 8.0):
        raise ConvergenceError(f"the equilibrium found is over 45 deg from {'-'.join(facing)}", found.residual, step)
    return found
