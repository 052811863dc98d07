"""Many pairs from given states, stepped to the end of a window by the splitting, and what they amount to.

For campaigns of thousands to millions of runs of which the outcomes count, not the paths: no sample is stored.  A row
depends on its case alone, whoever steps beside it, because each case makes its own number of steps (step_numbers.py);
and a GPU gives the same bits as lanes of the processor, because every fused operation is written down and nothing else
is fused.
Valid where the splitting is (see dynamics.INTEGRATORS); cases that come too
near or part are named, and are for `simulate`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from ..bodies.averaged import free_turns
from ..columns import dot
from ..constants import DAY_S
from ..dynamics import State, System
from ..integrators.lanes import aligned
from ..integrators.splitting import distance, fill, states_of, work_size
from ..integrators.step_rules import FARTHEST, nearest_m, steps_of
from ..motion.layout import ATTITUDE2, INVERSE, LANES, POSITION, SIZE, SPLIT_PER_INERTIA2, VELOCITY
from ..observables.averages import squared_hann
from ..observables.orientation import rotation_matrices
from ..sampling.members import cores
from . import accumulate
from .accumulate import GIVEN, KEPT
from .step_numbers import rung

_BLOCK_STEPS = 500


@dataclass(frozen=True)
class Cases:
    """n pairs ready to step: one column a case, rows as the kernels read them.

    columns (rows, n): state with momenta per G M1 M2 (20), constants (8), gravity coefficients, what the measurement is
    given (7) and keeps (7).  near_m (n,): distance within which bodies may touch.
    """

    model: int
    columns: np.ndarray
    near_m: np.ndarray

    def __len__(self) -> int:
        return self.columns.shape[1]

    def steps(self, days: float, refine: float = 1.0) -> np.ndarray:
        """(n,) how many steps a window needs: a thirteenth of an orbit, or less for a fast spin (step_numbers.py)."""
        return steps_of(states_of(self.columns), self.columns[SIZE], abs(days) * DAY_S, rung, refine)

    def paced(self, days: float, steps: int | np.ndarray | None) -> list[tuple[int, np.ndarray]]:
        """Numbers of steps, and the places of the cases that make so many; steps: given for all or each, or None."""
        each = self.steps(days) if steps is None else np.broadcast_to(steps, len(self))
        return [(count, np.flatnonzero(each == count)) for count in np.unique(each).tolist()]


@dataclass(frozen=True)
class Outcomes:
    """What became of n cases; arrays (n,).

    period_s: mean sidereal period over the window, fit under a squared Hann window.  separation_min_m,
    separation_max_m; long_axis_misalignment_max_deg: between the secondary's long axis and the line of centres, beyond
    90 it has turned over; pole_tilt_max_deg: between its short axis and the orbit normal.  fits: False where the bodies
    came so near, or parted, that the fixed step or the measurement is not valid; the other numbers of such a case mean
    nothing.  state (20, n): the last.
    """

    period_s: np.ndarray
    separation_min_m: np.ndarray
    separation_max_m: np.ndarray
    long_axis_misalignment_max_deg: np.ndarray
    pole_tilt_max_deg: np.ndarray
    fits: np.ndarray
    state: np.ndarray


def cases(systems: Sequence[System], states: Sequence[State] | None = None) -> Cases:
    """Cases of systems that share degree and symmetry; ValueError if they do not, or have perturbations."""
    if any(system.perturbations for system in systems):
        raise ValueError("cases step in lanes, perturbations are given, which only single runs follow; simulate them")
    states = [system.state for system in systems] if states is None else states
    numbers = {system.gravity_model for system in systems}
    if len(numbers) != 1:
        raise ValueError(f"cases step together with one gravity model, {sorted(numbers)} are given; split them")
    constants, coefficients = (np.array(part).T for part in zip(*(s.parameters for s in systems), strict=True))
    y = np.array([state.vector for state in states]).T
    near = np.array([s.primary.bounding_radius_m + s.secondary.bounding_radius_m for s in systems])
    return from_arrays(numbers.pop(), y, constants, coefficients, near)


def from_arrays(
    number: int, y: np.ndarray, constants: np.ndarray, coefficients: np.ndarray, near_m: np.ndarray
) -> Cases:
    """Cases from states (20, n) as State.vector, motion constants (19, n) and gravity coefficients (m, n)."""
    count = y.shape[1]
    columns = np.empty((work_size(number, 1) + GIVEN + KEPT, count))
    fill(columns, y, constants, coefficients)
    return Cases(number, started(columns), np.asarray(near_m, dtype=float))


def started(columns: np.ndarray) -> np.ndarray:
    """The same columns with 1 / |r| and what the measurement begins with worked out from their states."""
    away = distance(columns)
    columns[INVERSE] = 1.0 / away
    columns[-GIVEN - KEPT :] = _measured_from(columns, away)
    return columns


def _measured_from(y: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """(14, n), from positions, velocities and attitude2 in the rows of states.

    The longitude counts from r in the plane of the first orbit; extremes begin at the start.
    """
    x = y[POSITION] / distance
    normal = np.cross(y[POSITION], y[VELOCITY], axis=0)
    normal /= np.sqrt(dot(normal, normal))
    body = rotation_matrices(y[ATTITUDE2].T)
    long, short = body[:, :, 0].T, body[:, :, 2].T
    facing = dot(long, x)
    sign = np.where(facing < 0.0, -1.0, 1.0)
    one, nothing = np.ones_like(distance), np.zeros_like(distance)
    upright = dot(short, normal)
    kept = [one, nothing, nothing, 1.0 / distance, 1.0 / distance, sign * facing, upright]
    return np.array([*x, *np.cross(normal, x, axis=0), sign, *kept])


def turn_weights(steps: int, days: float) -> np.ndarray:
    """(steps,).

    Weights of the turns whose sum is the slope of the longitude fitted under a squared Hann window, rad/s.
    """
    time = np.linspace(0.0, abs(days) * DAY_S, steps + 1)
    weights = squared_hann(time)
    middle = time - weights @ time / weights.sum()
    of_angles = weights * middle / ((weights * middle) @ middle)
    return np.cumsum(of_angles[::-1])[::-1][1:].copy()


def accumulated(
    given: Cases,
    days: float,
    steps: int | np.ndarray | None = None,
    workers: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Outcomes:
    """Step all cases over `days` (< 0: backwards) in lanes, `workers` threads (None: one for each core).

    steps: of all or of each (n,); None: each case's own.  `progress` is told how many more cases are done.  Errors:
    ValueError if days is 0 or not finite.
    """
    if not math.isfinite(days) or days == 0.0:
        raise ValueError(f"a window needs a length other than zero, {days} days were given")
    last, h, paces = np.empty_like(given.columns), np.empty(len(given)), given.paced(days, steps)
    some = []
    for count, places in paces:
        h[places] = days * DAY_S / count
        weights = turn_weights(count, days)
        some += [(places[first : first + LANES], weights) for first in range(0, len(places), LANES)]

    def eight(together: tuple[np.ndarray, np.ndarray]) -> None:
        at, weights = together
        count, part = len(weights), given.columns[:, at]
        work = aligned(len(given.columns) * LANES)
        lanes = work.reshape(-1, LANES)
        lanes[:, : part.shape[1]] = part
        lanes[:, part.shape[1] :] = part[:, :1]
        advance = accumulate.entry(given.model).advance
        for n in range(0, count, _BLOCK_STEPS):
            advance(work, weights, n, min(_BLOCK_STEPS, count - n), float(h[at[0]]))
        last[:, at] = lanes[:, : part.shape[1]]
        if progress:
            progress(part.shape[1])

    accumulate.entry(given.model)
    with ThreadPoolExecutor(workers or cores()) as threads:
        for _ in threads.map(eight, some):
            pass
    return outcomes(given, last, h)


def outcomes(given: Cases, last: np.ndarray, h: np.ndarray) -> Outcomes:
    """What the columns (rows, n) after the last step of lengths h (n,) say."""
    _, _, rate, low, high, facing, upright = last[-KEPT:]
    nearest = np.maximum(given.near_m, nearest_m(given.columns[SIZE], h))
    start, state = given.columns[INVERSE], states_of(last)
    with np.errstate(all="ignore"):
        fits = (high * nearest < 1.0) & (low * FARTHEST > start) & np.isfinite(last).all(axis=0) & (rate * h > 0.0)
        # The turn of a backwards window is negative, and so are its weights' times.
        period = 2.0 * np.pi / np.abs(rate)
        roll, _, yaw = free_turns(1.0 / given.columns[SPLIT_PER_INERTIA2])
        cosines = np.where(yaw, 1.0, facing), np.where(roll, 1.0, upright)
        angle, tilt = (np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) for cosine in cosines)
        return Outcomes(period, 1.0 / high, 1.0 / low, angle, tilt, fits, state)
