"""The relaxed state of a pair: the orbit that repeats itself after one turn of the primary as seen from the moonlet.

A spinning primary that is not round forces a response at w1 - n and its harmonics (at 2 (w1 - n) if it is even), so
no state is at rest.  The state without any free mode is the one that after T = 2 pi / |w1 - n| has come back to
itself but for a turn about the axis of the angular momentum by n T: a relative periodic orbit.  It is found by
Newton's method on one T, a few hours, with conditions for what is given; its mean period is then 2 pi / n exactly,
not by a fit to a window.  The linearised return map gives the free modes around it (Meyer, Hall & Offin 2009,
Introduction to Hamiltonian Dynamical Systems, 2nd ed., ch. 8). Valid while T is short beside the free modes; not for
|w1 - n| near zero, where the pair is doubly synchronous.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..constants import G
from ..dynamics.displacement import FREE, displaced, product
from ..dynamics.equal_steps import equal_steps
from ..errors import ConvergenceError
from ..gravity.models import model_number
from ..gravity.mutual import even_pair
from ..motion.equations import parameters
from ..motion.layout import SIZE
from ..motion.state import State, flattening_m2

STEP_RAD = 0.08
"""Largest turn of the faster spin in one integration step: the error over one T is then at rounding level."""
TURN_LIMIT = 1e-12
"""Relative residual at which the search ends at once."""
ACCEPTED = 1e-10
"""Relative residual that counts as periodic where rounding allows no better; the free modes then have a 1e-10 of r."""
LONGEST_MOVE = 0.2
SLIP_LIMIT = 0.1
"""|w1 - n| over n below which the turn of the primary is too long beside the free modes."""
_DIFFERENCE = 3e-7
_NEWTON_STEPS = 25


@dataclass(frozen=True)
class Wanted:
    """What the relaxed state must have.

    Of mass factor, separation and period exactly two are given; the third, None, is found.
    """

    spin_rate_rad_s: float
    phase_rad: float
    mass_factor: float | None
    separation_m: float | None
    rate_rad_s: float | None


@dataclass(frozen=True)
class PeriodicOrbit:
    """A relaxed state with what was found: factor on both masses, time-mean separation, mean orbital rate.

    return_map (18, 18) is the linearised map over `turn_s`, in units of `scale` (18,): position, velocity, turn and
    rate of the primary, turn and rate of the secondary (turns and rates in body frames).  residual is relative, steps
    counts Newton's.
    """

    state: State
    mass_factor: float
    separation_m: float
    rate_rad_s: float
    turn_s: float
    return_map: np.ndarray
    scale: np.ndarray
    residual: float
    steps: int


class Shooting:
    """The return map of one pair, as a function of displacements from a state."""

    def __init__(self, primary, secondary, degree: int, wanted: Wanted):
        self.primary, self.secondary, self.wanted = primary, secondary, wanted
        self.even = even_pair(primary, secondary)
        self.model = model_number(degree, self.even)
        self.constants, self.coefficients = parameters(primary, secondary, degree, self.even)
        self.gm = G * (primary.mass_kg + secondary.mass_kg)
        self.flattening = flattening_m2(primary, secondary)

    def guess(self) -> tuple[float, float, float]:
        """(mass factor, separation, rate) of a circular orbit with the quadrupoles averaged.

        N^2 a^3 = GM f (1 + 3/2 J / a^2).
        """
        w = self.wanted
        factor, a, n = w.mass_factor or 1.0, w.separation_m or 0.0, w.rate_rad_s or 0.0
        if w.separation_m is None:
            a = (self.gm * factor / n**2) ** (1 / 3)
            for _ in range(50):
                a = (self.gm * factor * (1.0 + 1.5 * self.flattening / a**2) / n**2) ** (1 / 3)
        correction = 1.0 + 1.5 * self.flattening / a**2
        if w.rate_rad_s is None:
            n = math.sqrt(self.gm * factor * correction / a**3)
        if w.mass_factor is None:
            factor = n**2 * a**3 / (self.gm * correction)
        return factor, a, n

    def first_state(self, a: float, n: float) -> np.ndarray:
        """Circular, primary at its phase, secondary aligned and turning with the orbit, all about z."""
        y = np.zeros(SIZE)
        y[0], y[4] = a, n * a
        y[6], y[9] = math.cos(0.5 * self.wanted.phase_rad), math.sin(0.5 * self.wanted.phase_rad)
        y[12], y[16], y[19] = self.wanted.spin_rate_rad_s, 1.0, n
        return y

    def turn(self, n):
        """(T, angle of the orbit in T) for one rate or several; an even pair has come back after half a turn."""
        slip = np.abs(self.wanted.spin_rate_rad_s - n)
        if not np.all(slip > SLIP_LIMIT * np.abs(n)):
            sentence = "the primary turns nearly with the orbit: a doubly synchronous pair is not supported yet"
            raise ConvergenceError(sentence, float(np.min(slip / np.abs(n))), 0)
        time = (math.pi if self.even else 2.0 * math.pi) / slip
        return time, n * time

    def after_turn(self, y: np.ndarray, factor, n) -> tuple[np.ndarray, np.ndarray]:
        """States (20, m) after T, turned back by the orbit's angle, and the time-means of |r| over T; side by side.

        factor and n are (m,) or one for all.  The number of steps is that of the first, so that what differs between
        the columns is smooth.
        """
        factor, n = (np.broadcast_to(value, y.shape[1:]) for value in (factor, n))
        time, angle = self.turn(n)
        count = max(24, math.ceil(time[0] * max(abs(self.wanted.spin_rate_rad_s), n[0]) / STEP_RAD))
        constants = np.repeat(self.constants[:, None], y.shape[1], axis=1)
        constants[[0, 1, 2, 3, 7, 8, 9]] *= factor
        ends, means = equal_steps(self.model, y, constants, self.coefficients, time, count)
        return turned_about_z(ends, -angle), means

    def conditions(self, y: np.ndarray, factor, n, scale: np.ndarray) -> np.ndarray:
        """What must vanish, for each of the states (20, m).

        (21, m): the change over T, then longitude, phase of the primary, and the separation if it is given.
        """
        ends, means = self.after_turn(y, factor, n)
        half = half_turned(y, 1.0 if self.wanted.spin_rate_rad_s > n[0] else -1.0) if self.even else y
        out = np.empty((FREE + 3, y.shape[1]))
        out[:FREE] = difference(ends, half) / scale[:, None]
        axis = long_axis(y)
        out[FREE] = y[1] / scale[0]
        wanted = self.wanted.phase_rad
        out[FREE + 1] = -math.sin(wanted) * axis[0] + math.cos(wanted) * axis[1]
        out[FREE + 2] = 0.0 if self.wanted.separation_m is None else means / self.wanted.separation_m - 1.0
        return out


def find(primary, secondary, degree: int, wanted: Wanted) -> PeriodicOrbit:
    """The relaxed state of a pair.

    Raises ConvergenceError, with the residual that was reached, where Newton's method does not end.
    """
    shooting = Shooting(primary, secondary, degree, wanted)
    factor, a, n = shooting.guess()
    scale = np.repeat((a, n * a, 1.0, max(abs(wanted.spin_rate_rad_s), n), 1.0, n), 3)
    y, free, jacobian, residual, steps = _newton(shooting, shooting.first_state(a, n), factor, n, scale)
    if not residual < ACCEPTED:
        sentence = "no relaxed state was found: the pair does not settle near a circular synchronous orbit"
        raise ConvergenceError(sentence, residual, steps)
    factor, n = (math.exp(value) for value in free)
    return PeriodicOrbit(
        state=State.from_vector(y),
        mass_factor=factor,
        separation_m=float(shooting.after_turn(y[:, None], factor, n)[1][0]),
        rate_rad_s=n,
        turn_s=shooting.turn(n)[0],
        return_map=return_map(jacobian[:FREE, :FREE], shooting.even),
        scale=scale,
        residual=residual,
        steps=steps,
    )


def _newton(shooting: Shooting, y, factor: float, n: float, scale):
    """Newton's method on the conditions, until they hold to TURN_LIMIT or no longer improve.

    Singular directions stay put.
    """
    free = [math.log(factor), math.log(n)]
    given = (shooting.wanted.mass_factor, shooting.wanted.rate_rad_s)
    open_parameters = [i for i, value in enumerate(given) if value is None]
    best, size, step = math.inf, math.inf, 0
    while step < _NEWTON_STEPS and np.all(np.isfinite(y)):
        step += 1
        value, jacobian = _linearised(shooting, y, free, open_parameters, scale)
        if not np.all(np.isfinite(value)):
            break
        size = float(np.max(np.abs(value)))
        if size < TURN_LIMIT or (size < ACCEPTED and size > 0.3 * best) or not np.all(np.isfinite(jacobian)):
            break
        best = min(best, size)
        move = np.linalg.lstsq(jacobian, -value, rcond=1e-10)[0]
        move *= min(1.0, LONGEST_MOVE / max(float(np.max(np.abs(move))), 1e-300))
        y = displaced(y, move[:FREE] * scale)
        for i, change in zip(open_parameters, move[FREE:], strict=True):
            free[i] += change
    return y, free, jacobian, size, step


def _linearised(shooting: Shooting, y, free, open_parameters, scale):
    """The conditions and their derivatives to the 18 displacements (in units of scale) and to the open parameters.

    Central differences, all of them side by side in one call.
    """
    moves = np.zeros((FREE, 1 + 2 * (FREE + len(open_parameters))))
    logs = np.repeat(np.array(free)[:, None], moves.shape[1], axis=1)
    for i in range(FREE):
        moves[i, 1 + 2 * i : 3 + 2 * i] = _DIFFERENCE, -_DIFFERENCE
    for column, i in enumerate(open_parameters, start=FREE):
        logs[i, 1 + 2 * column : 3 + 2 * column] += (_DIFFERENCE, -_DIFFERENCE)
    states = displaced(np.repeat(y[:, None], moves.shape[1], axis=1), moves * scale[:, None])
    found = shooting.conditions(states, *np.exp(logs), scale)
    return found[:, 0], (found[:, 1::2] - found[:, 2::2]) / (2.0 * _DIFFERENCE)


def difference(end: np.ndarray, begin: np.ndarray) -> np.ndarray:
    """The (18, m) that lead from the states (20, m) to the others.

    Turns by twice the vector part, which is enough for small ones.
    """
    out = np.empty((FREE, end.shape[1]))
    out[0:6] = end[0:6] - begin[0:6]
    for at, to in ((6, 6), (13, 12)):
        w, *vector = product(begin[at], *(-begin[at + 1 : at + 4]), *end[at : at + 4])
        out[to : to + 3] = 2.0 * np.array(vector) * np.where(w >= 0.0, 1.0, -1.0)
    out[9:12] = end[10:13] - begin[10:13]
    out[15:18] = end[17:20] - begin[17:20]
    return out


def turned_about_z(y: np.ndarray, angle) -> np.ndarray:
    out, c, s = y.copy(), np.cos(angle), np.sin(angle)
    for i in (0, 3):
        out[i], out[i + 1] = c * y[i] - s * y[i + 1], s * y[i] + c * y[i + 1]
    half = (np.cos(0.5 * angle), 0.0, 0.0, np.sin(0.5 * angle))
    for i in (6, 13):
        out[i : i + 4] = product(*half, *y[i : i + 4])
    return out


def half_turned(y: np.ndarray, sense: float) -> np.ndarray:
    """The same configuration of even bodies, with the primary turned by half a turn about its own z.

    X and y of its frame change sign.
    """
    out = y.copy()
    out[6:10] = product(*y[6:10], 0.0, 0.0, 0.0, sense)
    out[10:12] = -y[10:12]
    return out


def return_map(change: np.ndarray, even: bool) -> np.ndarray:
    """The linearised map from the derivative of the change over T.

    For an even pair the change is read in the frame of the half-turned primary, into which the start has to be brought
    and from which the end is brought back: x and y of its frame change sign.
    """
    half = np.ones(FREE)
    if even:
        half[[6, 7, 9, 10]] = -1.0
    return half[:, None] * (change + np.diag(half))


def long_axis(y: np.ndarray) -> np.ndarray:
    w, x, j, z = y[6:10]
    return np.array([1.0 - 2.0 * (j * j + z * z), 2.0 * (x * j + w * z)])
