"""Relaxed states of hundreds of pairs side by side: the search of periodic.py for the orbits alone, not their modes.

Each pair has the Jacobian of its own first guess, by one-sided differences, kept for several moves and worked out anew
where it no longer serves: a run more for each move in place of forty.  An even pair stays in its plane, and only motion
in it is searched.  A pair's bits do not depend on the others.  What is not found here is for `periodic.find`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..dynamics.displacement import FREE, displaced
from ..dynamics.equal_steps import equal_steps
from ..dynamics.stepper import SIZE
from .periodic import (
    ACCEPTED,
    LONGEST_MOVE,
    SLIP_LIMIT,
    STEP_RAD,
    TURN_LIMIT,
    Wanted,
    difference,
    half_turned,
    long_axis,
    turned_about_z,
)

_IN_PLANE = [0, 1, 3, 4, 8, 11, 14, 17]
"""Of the displacements: x, y, their rates, and turn and rate of both bodies about z."""
_STEP, _COARSER = 1e-7, 4
"""Of the differences for a Jacobian, and how many times longer the steps of their runs are: to 1e-4 is enough."""
_JACOBIANS, _MOVES = 4, 8
_IMPROVES = 0.3
"""A move that leaves more than this of the residual asks for a new Jacobian, or is the last."""
_DAMPING = 1e-14
"""Of the normal matrix' trace: directions without effect, such as the turn of a round body, stay put."""


@dataclass(frozen=True)
class Pairs:
    """m pairs of one gravity model: parameters as of dynamics.motion, (19, m) and (c, m) or (c, 1).

    gm_m3_s2, flattening_m2 (m,): of both bodies, as dynamics.state gives them.
    """

    model: int
    even: bool
    constants: np.ndarray
    coefficients: np.ndarray
    gm_m3_s2: np.ndarray
    flattening_m2: np.ndarray

    def some(self, at: np.ndarray) -> Pairs:
        """Those at the places `at`."""
        coefficients = self.coefficients if self.coefficients.shape[1] == 1 else self.coefficients[:, at]
        shape = (self.constants[:, at], coefficients, self.gm_m3_s2[at], self.flattening_m2[at])
        return Pairs(self.model, self.even, *shape)


@dataclass(frozen=True)
class Relaxed:
    """States y (20, m) as State.vector, and as of PeriodicOrbit; (m,).  Where `found` is False the rest is nothing."""

    y: np.ndarray
    mass_factor: np.ndarray
    separation_m: np.ndarray
    rate_rad_s: np.ndarray
    residual: np.ndarray
    found: np.ndarray


def relaxed_many(pairs: Pairs, wanted: Wanted) -> Relaxed:
    """The relaxed states of pairs; the numbers of `wanted` are arrays (m,), or None for what is open in all of them."""
    with np.errstate(all="ignore"):
        search = _Search.begun(pairs, wanted)
        for _ in range(_JACOBIANS):
            at = np.flatnonzero(search.open)
            if not len(at):
                break
            search.follow(at)
        y = search.y
        for q in (slice(6, 10), slice(13, 17)):
            y[q] /= np.sqrt(y[q][0] ** 2 + y[q][1] ** 2 + y[q][2] ** 2 + y[q][3] ** 2)
        factor, rate = np.exp(search.logs)
        return Relaxed(y, factor, search.means, rate, search.residual, search.residual < ACCEPTED)


def _first_guess(pairs: Pairs, wanted: Wanted) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As Shooting.guess, of all pairs."""
    gm, flat, n = pairs.gm_m3_s2, pairs.flattening_m2, wanted.rate_rad_s
    factor, a = wanted.mass_factor, wanted.separation_m
    if a is None:
        a = np.cbrt(gm * factor / n**2)
        for _ in range(50):
            a = np.cbrt(gm * factor * (1.0 + 1.5 * flat / a**2) / n**2)
    correction = 1.0 + 1.5 * flat / a**2
    if n is None:
        n = np.sqrt(gm * factor * correction / a**3)
    if factor is None:
        factor = n**2 * a**3 / (gm * correction)
    return factor, a, n


@dataclass
class _Search:
    """Where the search of each pair stands; logs (2, m) of mass factor and rate, counts (m,) of steps in a turn."""

    pairs: Pairs
    wanted: Wanted
    unknowns: list[int]
    open_logs: list[int]
    scale: np.ndarray
    counts: np.ndarray
    y: np.ndarray
    logs: np.ndarray
    means: np.ndarray
    residual: np.ndarray
    open: np.ndarray

    @classmethod
    def begun(cls, pairs: Pairs, wanted: Wanted) -> _Search:
        """At the circular orbits with averaged quadrupoles."""
        factor, a, n = _first_guess(pairs, wanted)
        spin, half, m = wanted.spin_rate_rad_s, 0.5 * wanted.phase_rad, len(pairs.gm_m3_s2)
        y, one, fast = np.zeros((SIZE, m)), np.ones(m), np.maximum(np.abs(spin), n)
        y[0], y[4], y[6], y[9], y[12], y[16], y[19] = a, n * a, np.cos(half), np.sin(half), spin, 1.0, n
        slip = np.abs(spin - n)
        turns = slip > SLIP_LIMIT * n
        counts = np.ceil((np.pi if pairs.even else 2.0 * np.pi) * fast / (slip * STEP_RAD))
        return cls(
            pairs=pairs,
            wanted=wanted,
            unknowns=_IN_PLANE if pairs.even else list(range(FREE)),
            open_logs=[i for i, given in enumerate((wanted.mass_factor, wanted.rate_rad_s)) if given is None],
            scale=np.repeat((a, n * a, one, fast, one, n), 3, axis=0),
            counts=np.where(turns, np.maximum(counts, 24.0), 0.0).astype(np.int64),
            y=y,
            logs=np.log([factor * one, n]),
            means=np.full(m, np.nan),
            residual=np.full(m, np.inf),
            open=turns & np.isfinite(y).all(axis=0),
        )

    def follow(self, at: np.ndarray) -> None:
        """Moves by one Jacobian of each of the pairs `at`, until each has ended or needs another one."""
        values, inverse = self._linearised(at)
        for _ in range(_MOVES):
            here = np.abs(values).max(axis=0)
            before = self.residual[at]
            self.residual[at] = here
            slow = ~(here < _IMPROVES * before)
            ended = (here < TURN_LIMIT) | (slow & (here < ACCEPTED)) | ~np.isfinite(here)
            self.open[at[ended]] = False
            going = ~(ended | (slow & np.isfinite(before)))
            self.residual[at[~ended & ~going]] = np.inf
            at, values, inverse = at[going], values[:, going], inverse[going]
            if not len(at):
                return
            move = -np.matmul(inverse, values.T[:, :, None])[:, :, 0].T
            move *= np.minimum(1.0, LONGEST_MOVE / np.maximum(np.abs(move).max(axis=0), 1e-300))
            self._move(at, move)
            values = self._values(at, self.y[:, at, None], self.logs[:, at, None])[:, :, 0]
        self.residual[at] = np.inf

    def _move(self, at: np.ndarray, move: np.ndarray) -> None:
        moves = np.zeros((FREE, len(at)))
        moves[self.unknowns] = move[: len(self.unknowns)]
        self.y[:, at] = displaced(self.y[:, at], moves * self.scale[:, at])
        for i, change in zip(self.open_logs, move[len(self.unknowns) :], strict=True):
            self.logs[i, at] += change

    def _linearised(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Conditions (rows, m) and the matrices (m, unknowns, rows) that lead from them to a move, least squares."""
        many = len(self.unknowns) + len(self.open_logs)
        moves = np.zeros((FREE, len(at), 1 + many))
        logs = np.repeat(self.logs[:, at, None], 1 + many, axis=2)
        for column, i in enumerate(self.unknowns, start=1):
            moves[i, :, column] = _STEP
        for column, i in enumerate(self.open_logs, start=1 + len(self.unknowns)):
            logs[i, :, column] += _STEP
        flat = np.repeat(self.y[:, at], 1 + many, axis=1)
        states = displaced(flat, (moves * self.scale[:, at, None]).reshape(FREE, -1))
        found = self._values(at, states.reshape(SIZE, len(at), -1), logs, _COARSER)
        jacobian = ((found[:, :, 1:] - found[:, :, :1]) / _STEP).transpose(1, 0, 2)
        # A pair that has gone astray must not stop the factorisation of the others.
        jacobian = np.where(np.isfinite(jacobian).all(axis=(1, 2))[:, None, None], jacobian, 0.0)
        across = jacobian.transpose(0, 2, 1)
        normal = np.matmul(across, jacobian)
        ridge = _DAMPING * np.trace(normal, axis1=1, axis2=2) + 1e-300
        inverse = np.linalg.solve(normal + ridge[:, None, None] * np.eye(many), across)
        return self._values(at, self.y[:, at, None], self.logs[:, at, None])[:, :, 0], inverse

    def _values(self, at: np.ndarray, y: np.ndarray, logs: np.ndarray, coarser: int = 1) -> np.ndarray:
        """What must vanish, (rows, m, r), for states (20, m, r), as Shooting.conditions; the first run's mean is kept.

        For an even pair only the rows of motion in the plane.
        """
        spin, wanted = self.wanted.spin_rate_rad_s[at, None], self.wanted.phase_rad[at, None]
        factor, n = np.exp(logs)
        time = (np.pi if self.pairs.even else 2.0 * np.pi) / np.abs(spin - n)
        ends, means = self._after(at, y.reshape(SIZE, -1), factor, time, -(-self.counts[at] // coarser))
        ends = turned_about_z(ends, -(n * time).ravel())
        begin = y
        if self.pairs.even:
            begin = half_turned(y, np.where(spin > n[:, :1], 1.0, -1.0) * np.ones_like(n))
        shape = (FREE, *y.shape[1:])
        change = difference(ends, begin.reshape(SIZE, -1)).reshape(shape) / self.scale[:, at, None]
        axis, means = long_axis(y), means.reshape(y.shape[1:])
        self.means[at] = means[:, 0]
        apart = np.zeros_like(means)
        if self.wanted.separation_m is not None:
            apart = means / self.wanted.separation_m[at, None] - 1.0
        phase = np.cos(wanted) * axis[1] - np.sin(wanted) * axis[0]
        return np.concatenate([change[self.unknowns], [y[1] / self.scale[0][at, None], phase, apart]])

    def _after(self, at: np.ndarray, y: np.ndarray, factor: np.ndarray, time: np.ndarray, counts: np.ndarray):
        """Ends (20, m r) and mean distances (m r,) of runs, those with the same number of steps in one call."""
        runs, pairs = factor.shape[1], self.pairs.some(at)
        constants = np.repeat(pairs.constants, runs, axis=1)
        constants[[0, 1, 2, 3, 7, 8, 9]] *= factor.ravel()
        coefficients = pairs.coefficients
        if coefficients.shape[1] > 1:
            coefficients = np.repeat(coefficients, runs, axis=1)
        counts, time = np.repeat(counts, runs), time.ravel()
        ends, means = np.empty_like(y), np.empty(y.shape[1])
        for count in np.unique(counts).tolist():
            some = np.flatnonzero(counts == count)
            own = coefficients if coefficients.shape[1] == 1 else coefficients[:, some]
            found = equal_steps(pairs.model, y[:, some], constants[:, some], own, time[some], count)
            ends[:, some], means[some] = found
        return ends, means
