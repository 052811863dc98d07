"""How far a window that begins in the relaxed state can be trusted, without a run: powers of its return map move what
starts a hair beside it (observables/chaos.py says what is done with the growth).
"""

from __future__ import annotations

import numpy as np

from ..constants import DAY_S
from ..dynamics.displacement import TURNS
from ..motion.layout import POSITION
from ..observables.chaos import NEIGHBOURS, TWIST_RAD, Chaos, covered_days, move_beside
from .periodic import PeriodicOrbit

_TURNS = 256
"""Of the primary, at the begin and the end of a window, in which the largest growth is looked for."""


def chaos_of_relaxed(orbit: PeriodicOrbit, days: float) -> Chaos:
    """What neighbouring trajectories of a relaxed state would say of a window, without a run: powers of the return map
    move them.

    Within 2 % of what runs say, where the state is stable; an angle is no more than half a turn.
    """
    covered, state = covered_days(days), orbit.state
    there = np.concatenate((state.position_m, state.velocity_m_s))
    return Chaos.of(*growth_by_map(orbit.return_map, orbit.scale, there, orbit.turn_s, covered), covered)


def growth_by_map(
    once: np.ndarray, scale: np.ndarray, there: np.ndarray, turn_s: float, days: float
) -> tuple[float, float]:
    """Largest growth, in the first and the last turns of a window, and that at its end.

    once (18, 18), scale (18,), turn_s: as of PeriodicOrbit; there (6,): position and velocity.
    """
    once = once if days > 0.0 else np.linalg.inv(once)
    turns = max(1, int(abs(covered_days(days)) * DAY_S / turn_s))
    powers = [once]
    while len(powers) < min(_TURNS, turns):
        powers.append(once @ powers[-1])
    beside, most = [move_beside(there, number) for number in range(NEIGHBOURS)], np.pi / TWIST_RAD
    moved = np.column_stack(beside) / (TWIST_RAD * scale[:, None])
    with np.errstate(all="ignore"):
        begun = np.array(powers) @ moved
        ended = np.array(powers) @ (np.linalg.matrix_power(once, turns - len(powers)) @ moved)
        angles = np.minimum(_angles_by_map(scale, there, np.concatenate((begun, ended))), most)
    return max(1.0, float(angles.max())), float(angles[-1])


def _angles_by_map(scale: np.ndarray, there: np.ndarray, moves: np.ndarray) -> np.ndarray:
    """(n,) angles of the secondary's attitude or of the direction of r, the largest of each four; moves (n, 18, 4)."""
    moves = moves * scale[:, None]
    distance, shifts = np.linalg.norm(there[POSITION]), moves[:, POSITION]
    direction = there[POSITION] / distance
    across = shifts - direction[:, None] * np.einsum("i,nik->nk", direction, shifts)[:, None]
    angles = np.maximum(np.linalg.norm(moves[:, TURNS[1]], axis=1), np.linalg.norm(across, axis=1) / distance)
    return np.nan_to_num(angles.max(axis=1), nan=np.inf, posinf=np.inf)
