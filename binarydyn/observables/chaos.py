"""How far a run can be trusted: neighbouring trajectories that start a hair beside it, and how much farther apart they
end.

Four neighbouring trajectories: the secondary twisted about each of its three axes, and the secondary moved along its
track.  The divergence_factor is the largest angle between a neighbouring trajectory and the run (of the secondary's
attitude, or of the direction of r), over the angle at the start.  Regular motion shears neighbouring trajectories apart
in proportion to time; chaotic motion does so exponentially, and then no integrator can promise the period: a secondary
that may tumble (Agrusa et al. 2021, Icarus 370, 114624) is an outcome to be named, not averaged in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..columns import cross, length, unit
from ..dynamics import State, System, Trajectory, simulate, simulate_many
from ..dynamics.displacement import FREE, TURNS, displaced
from ..errors import FewCyclesError, InputError
from ..motion.layout import ATTITUDE2, POSITION, VELOCITY
from ..scenario.wording import rounded
from .estimates import period
from .orientation import lost_lock

TWIST_RAD = 1e-7
"""Far above what the tightest tolerances lose, far below anything physical."""
NEIGHBOURS = 4
UNSTABLE = 100.0
"""Growth in up to 60 days, and in proportion beyond, that regular motion does not reach.

Of 200 random impacts two regular ones did: the shear along the track of close pairs of many turns reaches 160.
"""
LONGEST_DAYS = 365.0
"""Neighbouring trajectories cover at most so much of a window."""


@dataclass(frozen=True)
class Chaos:
    """divergence_factor: largest growth of a neighbouring trajectory's distance over the run; at_end: at the run's end.

    Chaotic: the largest is more than regular motion makes of it.  period_spread_s: standard deviation of the mean
    period over the run and its neighbouring trajectories; None where one of them has none, or no run was made.
    """

    divergence_factor: float
    at_end: float
    chaotic: bool
    period_spread_s: float | None

    @classmethod
    def of(cls, divergence_factor: float, at_end: float, days: float, period_spread_s: float | None = None) -> Chaos:
        """Of neighbouring trajectories that cover so many days."""
        return cls(divergence_factor, at_end, bool(is_chaotic(divergence_factor, days)), period_spread_s)


def is_chaotic(growth, days: float):
    """Whether neighbouring trajectories part by more than regular motion makes of it in so many days: of one growth or
    of (n,)."""
    return growth > UNSTABLE * max(1.0, abs(days) / 60.0)


def is_regular(long_axis_deg, tilt_deg, growth, days: float):
    """Whether a run can be predicted: the secondary does not turn over, and neighbouring trajectories stay beside it.

    Greatest angles of its axes (observables.orientation) and growth at the end of so many days; of one run or of (n,).
    """
    return np.logical_not(lost_lock(long_axis_deg, tilt_deg) | is_chaotic(growth, days))


def covered_days(days: float) -> float:
    """How much of a window neighbouring trajectories cover."""
    return float(np.clip(days, -LONGEST_DAYS, LONGEST_DAYS))


def move_beside(y: np.ndarray, number: int) -> np.ndarray:
    """Displacement (18,) of a state (20,), or (18, n) of many, to one of its neighbours: the secondary twisted about an
    axis (0, 1, 2), or moved along its track (3)."""
    move = np.zeros((FREE, *y.shape[1:]))
    if number < 3:
        move[TURNS[1]][number] = TWIST_RAD
        return move
    r = y[POSITION]
    along = cross(cross(r, y[VELOCITY]), r)
    move[POSITION] = along * (TWIST_RAD * length(r) / length(along))
    return move


def neighbours(state: State) -> list[State]:
    """The four states beside a state."""
    y = state.vector
    return [State.from_vector(displaced(y, move_beside(y, number))) for number in range(NEIGHBOURS)]


def simulate_with_neighbours(
    system: System, days: float, state: State, sample_minutes: float, max_steps: int
) -> tuple[Trajectory, Chaos]:
    """The run of a state, the same bits as on its own, and what its neighbouring trajectories say of it; side by side
    in lanes."""
    states = [state, *neighbours(state)]
    covered = covered_days(days)
    run, *others = simulate_many([system] * len(states), covered, states, sample_minutes, max_steps)
    largest, at_end = np.max([_growth(run, other) for other in others], axis=0).tolist()
    spread_s = _period_spread_s([run, *others])
    if covered != days:
        run = simulate(system, days, state=state, every_minutes=sample_minutes, max_steps=max_steps)
    return run, Chaos.of(largest, at_end, covered, spread_s)


def by_seconds(chaos: Chaos) -> str:
    """By how much a period that depends on a hair is known, in words."""
    if chaos.period_spread_s is None:
        return ""
    return f" by {rounded(chaos.period_spread_s, 2)} s (standard deviation over it and its four neighbours)"


def _period_spread_s(runs: list[Trajectory]) -> float | None:
    try:
        return float(np.std([period(run).value_s for run in runs], ddof=1))
    except (FewCyclesError, InputError):
        return None


def _growth(run: Trajectory, other: Trajectory) -> tuple[float, float]:
    """Angle between two runs at common times, the largest and that at the end, over the angle at the start."""
    count = min(len(run.time_s), len(other.time_s))
    part, last = (slice(0, count), -1) if run.time_s[0] == 0.0 else (slice(-count, None), 0)
    angles = growth_between(run.y[part].T, other.y[part].T)
    return float(angles.max()), float(angles[last])


def growth_between(y: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(n,) angle between states (20, n), of the secondary's attitude or of the direction of r, over that of neighbours
    at their start.

    The chord of unit quaternions, of either sign, is twice the sine of a quarter of the angle: exact for small ones
    too.
    """
    p, q = (each[ATTITUDE2] / np.linalg.norm(each[ATTITUDE2], axis=0) for each in (y, other))
    chord = np.minimum(np.linalg.norm(p - q, axis=0), np.linalg.norm(p + q, axis=0))
    turned = 4.0 * np.arcsin(np.minimum(0.5 * chord, 1.0))
    return np.maximum(turned, length(unit(y[POSITION]) - unit(other[POSITION]))) / TWIST_RAD
