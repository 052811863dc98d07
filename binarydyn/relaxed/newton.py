"""Newton's method for states that repeat themselves after a turn of the primary, on many pairs side by side.

Each system has a Jacobian of its own, by one-sided differences, kept for several moves and worked out anew where it no
longer serves: a run more for each move in place of twenty.  A system's bits do not depend on the others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..dynamics.displacement import FREE, displaced, shortened
from ..dynamics.shooting import shots
from ..gravity.models import model_number
from ..gravity.mutual import even_pair
from ..motion.equations import parameters
from ..motion.layout import ATTITUDE1, ATTITUDE2
from ..motion.state import flattening_m2
from .circular import Wanted, circular_state, third_law

STEP_RAD = 0.08
"""Largest turn of the faster spin in one integration step: the error over one T is then at rounding level."""
TURN_LIMIT = 1e-12
"""Relative residual at which the search ends at once."""
ACCEPTED = 1e-10
"""Relative residual that counts as periodic where rounding allows no better; the free modes then have a 1e-10 of r."""
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


@dataclass(frozen=True)
class PairColumns:
    """m pairs of one gravity model: parameters as of motion.equations, (19, m) and (c, m); flattening_m2 (m,)."""

    model: int
    even: bool
    constants: np.ndarray
    coefficients: np.ndarray
    flattening_m2: np.ndarray

    @classmethod
    def of(cls, primary, secondary, degree: int) -> PairColumns:
        """Of two bodies, or of arrays of them with the masses and moments of bodies."""
        even = even_pair(primary, secondary)
        constants, coefficients = (part.reshape(len(part), -1) for part in parameters(primary, secondary, degree, even))
        number = model_number(degree, even)
        return cls(number, even, constants, coefficients, np.atleast_1d(flattening_m2(primary, secondary)))

    @property
    def gm_m3_s2(self) -> np.ndarray:
        """(m,)."""
        return self.constants[0]


@dataclass
class Search:
    """Where the search of each system stands; logs (2, m) of mass factor and rate, counts (m,) of steps in a turn."""

    pairs: PairColumns
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
    def begun(cls, pairs: PairColumns, wanted: Wanted, whole: bool) -> Search:
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

    def run(self) -> None:
        """Until each system has ended, or has had as many Jacobians as it may."""
        for count in range(_JACOBIANS):
            at = np.flatnonzero(self.open)
            if not len(at):
                break
            self.follow(at, _COARSER if count < _COARSE else 1)

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
            self._move(at, shortened(-np.matmul(inverse, values.T[:, :, None])[:, :, 0].T))
            values = self._values(at)

    def unit_y(self) -> np.ndarray:
        """(20, m): the states, with attitudes of length 1."""
        y = self.y
        for q in (ATTITUDE1, ATTITUDE2):
            y[q] /= np.sqrt(y[q][0] ** 2 + y[q][1] ** 2 + y[q][2] ** 2 + y[q][3] ** 2)
        return y

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
        # A system that has gone astray must not stop the factorisation of the others.
        jacobian = np.where(np.isfinite(jacobian).all(axis=(1, 2))[:, None, None], jacobian, 0.0)
        across = jacobian.transpose(0, 2, 1)
        normal = np.matmul(across, jacobian)
        ridge = _DAMPING * np.trace(normal, axis1=1, axis2=2) + 1e-300
        inverse = np.linalg.solve(normal + ridge[:, None, None] * np.eye(normal.shape[1]), across)
        return self._values(at), inverse

    def return_maps(self) -> np.ndarray:
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


def turn_s(pairs: PairColumns, spin_rate_rad_s, rate_rad_s):
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
