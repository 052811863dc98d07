"""Relaxed states of hundreds of pairs side by side: the search of periodic.py for the orbits alone, not their modes.

Each pair has the Jacobian of its own first guess, by one-sided differences, kept for several moves and worked out anew
where it no longer serves: a run more for each move in place of forty.  An even pair stays in its plane, and only motion
in it is searched.  A pair's bits do not depend on the others.  What is not found here is for `periodic.find`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..dynamics.displacement import FREE, displaced
from ..dynamics.shooting import shots
from ..motion.layout import SIZE
from .growth_by_map import growth_by_map
from .periodic import ACCEPTED, LONGEST_MOVE, SLIP_LIMIT, STEP_RAD, TURN_LIMIT, Wanted, return_map

_IN_PLANE = [0, 1, 3, 4, 8, 11, 14, 17]
"""Of the displacements: x, y, their rates, and turn and rate of both bodies about z."""
_STEP, _COARSER = 1e-7, 4
"""Of the differences for a Jacobian, and how many times longer the steps of their runs are: to 1e-4 is enough."""
_STEP_OF_MAP = 3e-7
"""Of the central differences for a return map, as in periodic.py."""
_JACOBIANS, _MOVES = 4, 8
_IMPROVES = 0.3
"""A move that leaves more than this of the residual asks for a new Jacobian, or is the last."""
_DAMPING = 1e-14
"""Of the normal matrix' trace: directions without effect, such as the turn of a round body, stay put."""


@dataclass(frozen=True)
class Pairs:
    """m pairs of one gravity model: parameters as of motion.equations, (19, m) and (c, m).

    gm_m3_s2, flattening_m2 (m,): of both bodies, as motion.state gives them.
    """

    model: int
    even: bool
    constants: np.ndarray
    coefficients: np.ndarray
    gm_m3_s2: np.ndarray
    flattening_m2: np.ndarray


@dataclass(frozen=True)
class Relaxed:
    """States y (20, m) as State.vector, and as of PeriodicOrbit; (m,).  Where `found` is False the rest is nothing.

    growth (m,): amplification of companions as trust.trust_of_relaxed; nan where it was not asked for.
    """

    y: np.ndarray
    mass_factor: np.ndarray
    separation_m: np.ndarray
    rate_rad_s: np.ndarray
    residual: np.ndarray
    found: np.ndarray
    growth: np.ndarray


def relaxed_many(pairs: Pairs, wanted: Wanted, days: float | None = None) -> Relaxed:
    """The relaxed states of pairs; the numbers of `wanted` are arrays (m,), or None for what is open in all of them.

    days: of the window (< 0: backwards) over which the growth of companions is asked for.
    """
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
        found = search.residual < ACCEPTED
        growth = np.full(len(found), np.nan)
        if days is not None:
            for k, once in zip(np.flatnonzero(found), search.maps(np.flatnonzero(found)), strict=True):
                turn_s = (np.pi if pairs.even else 2.0 * np.pi) / abs(wanted.spin_rate_rad_s[k] - rate[k])
                growth[k] = max(growth_by_map(once, search.scale[:, k], y[:6, k], turn_s, days))
        return Relaxed(y, factor, search.means, rate, search.residual, found, growth)


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
            values = self._values(at)
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
        found = self._shots(at, _STEP, _COARSER)
        jacobian = ((found[:, :, 1:] - found[:, :, :1]) / _STEP).transpose(1, 0, 2)
        # A pair that has gone astray must not stop the factorisation of the others.
        jacobian = np.where(np.isfinite(jacobian).all(axis=(1, 2))[:, None, None], jacobian, 0.0)
        across = jacobian.transpose(0, 2, 1)
        normal = np.matmul(across, jacobian)
        ridge = _DAMPING * np.trace(normal, axis1=1, axis2=2) + 1e-300
        inverse = np.linalg.solve(normal + ridge[:, None, None] * np.eye(many), across)
        return self._values(at), inverse

    def maps(self, at: np.ndarray) -> np.ndarray:
        """(k, 18, 18): return maps of the pairs `at`, as of PeriodicOrbit."""
        self.unknowns, self.open_logs = list(range(FREE)), []
        ends = [self._shots(at, step)[:FREE, :, 1:] for step in (_STEP_OF_MAP, -_STEP_OF_MAP)]
        change = ((ends[0] - ends[1]) / (2.0 * _STEP_OF_MAP)).transpose(1, 0, 2)
        return np.array([return_map(one, self.pairs.even) for one in change]).reshape(-1, FREE, FREE)

    def _values(self, at: np.ndarray) -> np.ndarray:
        """What must vanish, (rows, m), as Shooting.conditions; the mean distances are kept."""
        return self._shots(at, 0.0)[:, :, 0]

    def _shots(self, at: np.ndarray, step: float, coarser: int = 1) -> np.ndarray:
        """The same for each state and, with a step, beside it: (rows, m, runs)."""
        wanted, pairs, free = self.wanted, self.pairs, np.zeros(len(self.counts))
        separation = free if wanted.separation_m is None else wanted.separation_m
        values, means = shots(
            pairs.model,
            (self.y, self.logs, self.scale),
            (wanted.spin_rate_rad_s, wanted.phase_rad, separation),
            (pairs.constants, pairs.coefficients),
            -(-self.counts[at] // coarser),
            at,
            np.array(self.unknowns),
            np.array(self.open_logs, dtype=np.int64),
            step,
            pairs.even,
        )
        self.means[at] = means[:, 0]
        return values
