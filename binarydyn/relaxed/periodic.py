"""Relaxed states, of one pair or of hundreds: orbits that repeat themselves after one turn of the primary.

A spinning primary that is not round forces a response at w1 - n and its harmonics (at 2 (w1 - n) if it is even), so
no state is at rest.  The state without any free mode is the one that after T = 2 pi / |w1 - n|, one turn of the primary
as seen from the secondary, has come back to itself but for a turn about the axis of the angular momentum by n T: a
relative periodic orbit.  It is found by Newton's method on one T, a few hours, with conditions for what is given; its
mean period is then 2 pi / n exactly, not by a fit to a window.  The linearised return map gives the free modes around
it (Meyer, Hall & Offin 2009, Introduction to Hamiltonian Dynamical Systems, 2nd ed., ch. 8).  Valid while T is short
beside the free modes; not for |w1 - n| near zero, where the pair is doubly synchronous.

All pairs are searched side by side.  Each has a Jacobian of its own, by one-sided differences, kept for several moves
and worked out anew where it no longer serves.  A pair's bits do not depend on the others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..dynamics.displacement import FREE, displaced
from ..dynamics.shooting import shots
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
_IN_PLANE = [0, 1, 3, 4, 8, 11, 14, 17]
"""Of the displacements: x, y, their rates, and turn and rate of both bodies about z."""
_STEP, _STEP_OF_MAP = 1e-7, 3e-6
"""Of the one-sided differences for a Jacobian, and of central ones for a return map: rounding then leaves 5e-10 of a
free mode's rate, curvature 7e-12 (against modes about the equilibrium of an averaged primary; at 3e-7: 1e-8)."""
_JACOBIANS, _COARSE, _COARSER, _MOVES = 25, 4, 4, 8
"""Jacobians of one search; the first so many are from runs of so many times longer steps, good to 1e-4, which serves
all but hard pairs; moves by one Jacobian."""
_IMPROVES = 0.3
"""A move that leaves more than this of the residual asks for a new Jacobian, or is the last."""
_DAMPING = 1e-14
"""Of the normal matrix' trace: directions without effect, such as the turn of a round body, stay put."""
_ROUNDS = 30
"""Of the third law, each of which leaves |J| / a^2 of the error."""


@dataclass(frozen=True)
class Wanted:
    """What relaxed states must have: numbers, or arrays (m,) for m pairs.

    Of mass factor, separation and rate exactly two are given; the third, None, is found.
    """

    spin_rate_rad_s: float | np.ndarray
    phase_rad: float | np.ndarray
    mass_factor: float | np.ndarray | None
    separation_m: float | np.ndarray | None
    rate_rad_s: float | np.ndarray | None


def third_law(gm_m3_s2, flattening_m2, wanted: Wanted):
    """(mass factor, separation, rate) of circular orbits with the quadrupoles averaged.

    n^2 a^3 = GM f (1 + 3/2 J / a^2), of one pair or of m; J as of motion.state.flattening_m2, 0 for point masses.
    """
    factor, a, n = wanted.mass_factor, wanted.separation_m, wanted.rate_rad_s
    if a is None:
        a = point_masses = np.cbrt(gm_m3_s2 * factor / n**2)
        for _ in range(_ROUNDS):
            a = point_masses * np.cbrt(1.0 + 1.5 * flattening_m2 / a**2)
    correction = 1.0 + 1.5 * flattening_m2 / a**2
    if n is None:
        n = np.sqrt(gm_m3_s2 * factor * correction / a**3)
    if factor is None:
        factor = n**2 * a**3 / (gm_m3_s2 * correction)
    return factor, a, n


def circular_state(wanted: Wanted, a, n) -> np.ndarray:
    """(20,), or (20, m): circular, primary at its phase, secondary aligned and turning with the orbit, all about z."""
    y = np.zeros((SIZE, *np.shape(a)))
    half = 0.5 * wanted.phase_rad
    y[0], y[4], y[6], y[9], y[12], y[16], y[19] = a, n * a, np.cos(half), np.sin(half), wanted.spin_rate_rad_s, 1.0, n
    return y


@dataclass(frozen=True)
class Pairs:
    """m pairs of one gravity model: parameters as of motion.equations, (19, m) and (c, m); flattening_m2 (m,)."""

    model: int
    even: bool
    constants: np.ndarray
    coefficients: np.ndarray
    flattening_m2: np.ndarray

    @classmethod
    def of(cls, primary, secondary, degree: int) -> Pairs:
        """Of two bodies, or of arrays of them with the masses and moments of bodies."""
        even = even_pair(primary, secondary)
        columns = (part.reshape(len(part), -1) for part in parameters(primary, secondary, degree, even))
        return cls(model_number(degree, even), even, *columns, np.atleast_1d(flattening_m2(primary, secondary)))

    @property
    def gm_m3_s2(self) -> np.ndarray:
        """(m,)."""
        return self.constants[0]


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


@dataclass(frozen=True)
class PeriodicOrbits:
    """Those of m pairs: states y (20, m) as State.vector, scale (18, m), the others (m,), as of PeriodicOrbit.

    Where `found` is False the rest is nothing.  return_map (m, 18, 18), or None where it was not asked for.
    """

    y: np.ndarray
    mass_factor: np.ndarray
    separation_m: np.ndarray
    rate_rad_s: np.ndarray
    turn_s: np.ndarray
    return_map: np.ndarray | None
    scale: np.ndarray
    residual: np.ndarray
    steps: np.ndarray
    found: np.ndarray


def find(primary, secondary, degree: int, wanted: Wanted) -> PeriodicOrbit:
    """The relaxed state of a pair.

    Raises ConvergenceError, with the residual that was reached, where Newton's method does not end.
    """
    orbits = find_all(Pairs.of(primary, secondary, degree), wanted, whole=True, maps=True)
    rate = float(orbits.rate_rad_s[0])
    slip, steps = abs(wanted.spin_rate_rad_s - rate) / rate, int(orbits.steps[0])
    if slip <= SLIP_LIMIT:
        sentence = "the primary turns nearly with the orbit: a doubly synchronous pair is not supported yet"
        raise ConvergenceError(sentence, slip, steps)
    if not orbits.found[0]:
        sentence = "no relaxed state was found: the pair does not settle near a circular synchronous orbit"
        raise ConvergenceError(sentence, orbits.residual[0], steps)
    return PeriodicOrbit(
        state=State.from_vector(orbits.y[:, 0]),
        mass_factor=float(orbits.mass_factor[0]),
        separation_m=float(orbits.separation_m[0]),
        rate_rad_s=rate,
        turn_s=float(orbits.turn_s[0]),
        return_map=orbits.return_map[0],
        scale=orbits.scale[:, 0],
        residual=float(orbits.residual[0]),
        steps=steps,
    )


def find_all(pairs: Pairs, wanted: Wanted, maps: bool = False, whole: bool = False) -> PeriodicOrbits:
    """The relaxed states of pairs, with their return maps if asked for.

    An even pair stays in its plane, and only motion in it is searched, which takes half the runs, unless the whole is
    wanted: rounding then leaves a trace of motion out of the plane, as a run needs where that is unstable.
    """
    with np.errstate(all="ignore"):
        search = _Search.begun(pairs, wanted, whole)
        for count in range(_JACOBIANS):
            at = np.flatnonzero(search.open)
            if not len(at):
                break
            search.follow(at, _COARSER if count < _COARSE else 1)
        return search.ended(maps)


@dataclass
class _Search:
    """Where the search of each pair stands; logs (2, m) of mass factor and rate, counts (m,) of steps in a turn."""

    pairs: Pairs
    wanted: tuple[np.ndarray, np.ndarray, np.ndarray]
    unknowns: list[int]
    open_logs: list[int]
    scale: np.ndarray
    counts: np.ndarray
    y: np.ndarray
    logs: np.ndarray
    means: np.ndarray
    residual: np.ndarray
    steps: np.ndarray
    open: np.ndarray
    found: np.ndarray

    @classmethod
    def begun(cls, pairs: Pairs, wanted: Wanted, whole: bool) -> _Search:
        """At the circular orbits with averaged quadrupoles."""
        m = len(pairs.gm_m3_s2)
        factor, a, n = (np.broadcast_to(x, m) for x in third_law(pairs.gm_m3_s2, pairs.flattening_m2, wanted))
        spin, phase = np.full(m, wanted.spin_rate_rad_s), np.full(m, wanted.phase_rad)
        y, one, fast = circular_state(wanted, a, n), np.ones(m), np.maximum(np.abs(spin), n)
        turns = np.abs(spin - n) > SLIP_LIMIT * n
        counts = np.ceil(turn_s(pairs, spin, n) * fast / STEP_RAD)
        return cls(
            pairs=pairs,
            wanted=(spin, phase, np.zeros(m) if wanted.separation_m is None else np.full(m, wanted.separation_m)),
            unknowns=list(range(FREE)) if whole or not pairs.even else _IN_PLANE,
            open_logs=[i for i, given in enumerate((wanted.mass_factor, wanted.rate_rad_s)) if given is None],
            scale=np.repeat((a, n * a, one, fast, one, n), 3, axis=0),
            counts=np.where(turns, np.maximum(counts, 24.0), 0.0).astype(np.int64),
            y=y,
            logs=np.log([factor, n]),
            means=np.full(m, np.nan),
            residual=np.full(m, np.inf),
            steps=np.zeros(m, dtype=np.int64),
            open=turns & np.isfinite(y).all(axis=0),
            found=np.zeros(m, dtype=bool),
        )

    def follow(self, at: np.ndarray, coarser: int) -> None:
        """Moves by one Jacobian of each of the pairs `at`, until each has ended or needs another one."""
        values, inverse = self._linearised(at, coarser)
        before = np.full(len(at), np.inf)
        for _ in range(_MOVES):
            here = np.abs(values).max(axis=0)
            finite = np.isfinite(here)
            self.residual[at], self.steps[at] = np.where(finite, here, self.residual[at]), self.steps[at] + 1
            slow = ~(here < _IMPROVES * before)
            found = (here < TURN_LIMIT) | (slow & (here < ACCEPTED))
            ended = found | ~finite
            self.found[at], self.open[at] = found, ~ended
            going = ~(ended | slow)
            at, before, values, inverse = at[going], here[going], values[:, going], inverse[going]
            if not len(at):
                return
            move = -np.matmul(inverse, values.T[:, :, None])[:, :, 0].T
            self._move(at, move * np.minimum(1.0, LONGEST_MOVE / np.maximum(np.abs(move).max(axis=0), 1e-300)))
            values = self._values(at)

    def ended(self, maps: bool) -> PeriodicOrbits:
        """What was found."""
        y = self.y
        for q in (slice(6, 10), slice(13, 17)):
            y[q] /= np.sqrt(y[q][0] ** 2 + y[q][1] ** 2 + y[q][2] ** 2 + y[q][3] ** 2)
        factor, rate = np.exp(self.logs)
        return PeriodicOrbits(
            y=y,
            mass_factor=factor,
            separation_m=self.means,
            rate_rad_s=rate,
            turn_s=turn_s(self.pairs, self.wanted[0], rate),
            return_map=self._maps() if maps else None,
            scale=self.scale,
            residual=self.residual,
            steps=self.steps,
            found=self.found,
        )

    def _move(self, at: np.ndarray, move: np.ndarray) -> None:
        moves = np.zeros((FREE, len(at)))
        moves[self.unknowns] = move[: len(self.unknowns)]
        self.y[:, at] = displaced(self.y[:, at], moves * self.scale[:, at])
        for i, change in zip(self.open_logs, move[len(self.unknowns) :], strict=True):
            self.logs[i, at] += change

    def _linearised(self, at: np.ndarray, coarser: int) -> tuple[np.ndarray, np.ndarray]:
        """Conditions (rows, m) and the matrices (m, unknowns, rows) that lead from them to a move, least squares."""
        found, _ = self._shots(at, _STEP, coarser)
        jacobian = ((found[:, :, 1:] - found[:, :, :1]) / _STEP).transpose(1, 0, 2)
        # A pair that has gone astray must not stop the factorisation of the others.
        jacobian = np.where(np.isfinite(jacobian).all(axis=(1, 2))[:, None, None], jacobian, 0.0)
        across = jacobian.transpose(0, 2, 1)
        normal = np.matmul(across, jacobian)
        ridge = _DAMPING * np.trace(normal, axis1=1, axis2=2) + 1e-300
        inverse = np.linalg.solve(normal + ridge[:, None, None] * np.eye(normal.shape[1]), across)
        return self._values(at), inverse

    def _maps(self) -> np.ndarray:
        """(m, 18, 18): return maps of the pairs that were found."""
        self.unknowns, self.open_logs = list(range(FREE)), []
        maps, at = np.full((len(self.found), FREE, FREE), np.nan), np.flatnonzero(self.found)
        ahead, back = (self._shots(at, step)[0][:FREE, :, 1:] for step in (_STEP_OF_MAP, -_STEP_OF_MAP))
        change = ((ahead - back) / (2.0 * _STEP_OF_MAP)).transpose(1, 0, 2)
        maps[at] = return_map(change, self.pairs.even)
        return maps

    def _values(self, at: np.ndarray) -> np.ndarray:
        """What must vanish, (rows, m); the mean distances are kept."""
        values, means = self._shots(at, 0.0)
        self.means[at] = means[:, 0]
        return values[:, :, 0]

    def _shots(self, at: np.ndarray, step: float, coarser: int = 1) -> tuple[np.ndarray, np.ndarray]:
        """For each state and, with a step, beside it: the same (rows, m, runs), and the mean distances (m, runs)."""
        return shots(
            self.pairs.model,
            (self.y, self.logs, self.scale),
            self.wanted,
            (self.pairs.constants, self.pairs.coefficients),
            -(-self.counts[at] // coarser),
            at,
            np.array(self.unknowns),
            np.array(self.open_logs, dtype=np.int64),
            step,
            self.pairs.even,
        )


def turn_s(pairs: Pairs, spin_rate_rad_s, rate_rad_s):
    """T; an even pair has come back after half a turn of the primary."""
    return (math.pi if pairs.even else 2.0 * math.pi) / np.abs(spin_rate_rad_s - rate_rad_s)


def return_map(change: np.ndarray, even: bool) -> np.ndarray:
    """The linearised map from the derivative of the change over T, (18, 18) or (m, 18, 18).

    For an even pair the change is read in the frame of the half-turned primary, into which the start has to be brought
    and from which the end is brought back: x and y of its frame change sign.
    """
    half = np.ones(FREE)
    if even:
        half[[6, 7, 9, 10]] = -1.0
    return half[:, None] * (change + np.diag(half))
