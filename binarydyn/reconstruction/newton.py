"""The most probable unknowns, by Gauss and Newton with Levenberg's damping; all runs of a Jacobian go side by side.

Arcs about t0 that grow keep the count of turns of slow modes; starts from draws of the priors find other minima, of
which sizes have several (the libration after an impact acts like a frequency in a periodogram).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..constants import DAY_S
from ..errors import ConvergenceError
from ..timing.noise import Weighing
from .likelihood import Likelihood, of_priors, quadratic

STEP, WIDEST_STEP = 0.02, 0.5
"""Of u, for slopes: the least, and the greatest that slope_steps takes."""
ARCS_DAYS = (3.0, 6.0, 12.0, 25.0, 50.0)
_FEWEST = 8
"""Events an arc must have."""
_MOVES, _MOVES_OF_AN_ARC = 15, 6
_SETTLED = 1e-3
"""Fall of the cost below which it is at its minimum."""
_DAMPED, _STRONGEST = 1e-6, 1e6


@dataclass(frozen=True)
class Solved:
    """u (p,), what is late there (m,), its slopes (m, p) per u, cost: r^T C^-1 r and that of the priors; runs made."""

    u: np.ndarray
    late: np.ndarray
    slopes: np.ndarray
    cost: float
    runs: int

    def covariance(self, likelihood: Likelihood) -> np.ndarray:
        """(p, p) of u, were all linear."""
        return np.linalg.inv(likelihood.weighing.gram(self.slopes) + np.diag(likelihood.information))


def slope_steps(weighing: Weighing, slopes: np.ndarray) -> np.ndarray:
    """(p,) steps of u for slopes, from slopes (m, p): one sigma, were all else known.

    Middles of dips are sums over strips and jump by some seconds, each at another guess: over a step that moves them by
    less, slopes would be those of the jumps.
    """
    told = np.sum(slopes * weighing.applied(slopes), axis=0)
    return np.clip(1.0 / np.sqrt(np.maximum(told, 1e-12)), STEP, WIDEST_STEP)


def slopes_at(
    likelihood: Likelihood, u: np.ndarray, which: np.ndarray, step: np.ndarray | float = STEP
) -> tuple[np.ndarray, np.ndarray]:
    """What is late at u, (m,), and its slopes (m, p), 0 but for unknowns `which` (k,); 2 k + 1 runs in one call.

    step (p,): of u, to either side; one-sided where one side is refused.  ConvergenceError where u itself is.
    """
    step = np.broadcast_to(step, len(u))
    steps = np.diag(step)[which]
    late = likelihood.late(np.vstack([u, u + steps, u - steps]))
    here, up, down = late[0], late[1 : len(which) + 1], late[len(which) + 1 :]
    if not np.isfinite(here).all():
        raise ConvergenceError("the motion with these unknowns ends early or does not show what was measured")
    slopes = np.zeros((len(here), len(u)))
    one_sided = np.where(np.isfinite(up), up - here, here - down)
    both = np.where(np.isfinite(up) & np.isfinite(down), 0.5 * (up - down), one_sided)
    slopes[:, which] = np.nan_to_num(both).T / step[which]
    return here, slopes


def solved(
    likelihood: Likelihood, u: np.ndarray, which: np.ndarray | None = None, moves: int = _MOVES,
    step: np.ndarray | float = STEP,
) -> Solved:  # fmt: skip
    """From u, moving unknowns `which` alone (all of them where it is None); step (p,): of the first slopes.

    Errors: ConvergenceError.
    """
    which = np.arange(len(u)) if which is None else which
    weighing, information = likelihood.weighing, likelihood.information
    damp, runs = _DAMPED, 0
    late, slopes = slopes_at(likelihood, u, which, step)
    cost = _cost(likelihood, weighing, u, late[None])[0]
    for _ in range(moves):
        told = weighing.applied(slopes)
        matrix = (slopes.T @ told + np.diag(information))[np.ix_(which, which)]
        gradient = (told.T @ late + information * u)[which]
        trials = _trials(u, which, matrix, gradient, damp)
        costs = _cost(likelihood, weighing, trials, likelihood.late(trials))
        runs += 2 * len(which) + 1 + len(trials)
        best = int(np.argmin(costs))
        gain = cost - costs[best]
        if not gain > 0.0:
            if damp >= _STRONGEST:
                break
            damp *= 1e4
            continue
        u, cost, damp = trials[best], costs[best], max(damp * 10.0 ** (2 * best - 2), _DAMPED)
        late, slopes = slopes_at(likelihood, u, which, slope_steps(weighing, slopes))
        if gain < _SETTLED:
            break
    return Solved(u, late, slopes, float(cost), runs)


def _trials(u: np.ndarray, which: np.ndarray, matrix: np.ndarray, gradient: np.ndarray, damp: float) -> np.ndarray:
    """(4, p): moves of growing damping, which cost one set of lanes."""
    trials = np.repeat(u[None], 4, axis=0)
    for k in range(4):
        damped = matrix + damp * 100.0**k * np.diag(np.diag(matrix))
        trials[k, which] -= np.linalg.solve(damped, gradient)
    return trials


def _cost(likelihood: Likelihood, weighing, u: np.ndarray, late: np.ndarray) -> np.ndarray:
    return quadratic(weighing, late) + of_priors(np.atleast_2d(u), likelihood.information)


def grown(likelihood: Likelihood, u: np.ndarray, time_s: np.ndarray, which: np.ndarray | None = None) -> Solved:
    """The same by arcs about t0 that grow; time_s (m,) of what was measured."""
    step: np.ndarray | float = STEP
    for days in ARCS_DAYS:
        near = np.abs(time_s) < days * DAY_S
        if near.sum() >= _FEWEST and not near.all():
            arc = likelihood.within(near)
            found = solved(arc, u, which, _MOVES_OF_AN_ARC, step)
            u, step = found.u, slope_steps(arc.weighing, found.slopes)
    return solved(likelihood, u, which, step=step)


def again(likelihood: Likelihood, found: Solved) -> Solved:
    """From a solution of another likelihood."""
    return solved(likelihood, found.u, step=slope_steps(likelihood.weighing, found.slopes))


def best_of(likelihood: Likelihood, starts: Sequence[np.ndarray], time_s: np.ndarray, good: float) -> Solved:
    """The lowest of several starts (p,), by growing arcs; the first whose cost is below `good` ends the search.

    ConvergenceError where none has a motion.
    """
    best: Solved | None = None
    said = None
    for u in starts:
        try:
            found = grown(likelihood, u, time_s)
        except (ConvergenceError, np.linalg.LinAlgError) as error:
            said = error
            continue
        best = found if best is None or found.cost < best.cost else best
        if best.cost < good:
            break
    if best is None:
        raise ConvergenceError(str(said))
    return best
