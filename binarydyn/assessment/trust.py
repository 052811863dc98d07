"""How far a run can be trusted: companion runs that start a hair beside it, and how much farther apart they end.

Of a window that begins in the relaxed state nothing need be run: the return map says the same of a hair.

Four companions: the moonlet twisted about each of its three axes, and the moonlet moved along its track.  The
amplification is the largest angle between a companion and the run (of the moonlet's attitude, or of the direction of
r), over the angle at the start.  Regular motion shears companions apart in proportion to time; chaotic motion does so
exponentially, and then no integrator can promise the period: a moonlet that may tumble (Agrusa et al. 2021, Icarus
370, 114624) is an outcome to be named, not averaged in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..constants import DAY_S
from ..dynamics import State, System, Trajectory, simulate, simulate_many
from ..errors import FewCyclesError, InputError
from ..observables import period
from ..observables.orientation import turned_over
from ..scenario.wording import rounded
from ..vectors import quaternion_of_turn, quaternion_product
from .periodic import PeriodicOrbit

TWIST_RAD = 1e-7
"""Far above what the tightest tolerances lose, far below anything physical."""
UNSTABLE = 100.0
"""Growth in up to 60 days, and in proportion beyond, that regular motion does not reach.

Of 200 random hits two regular ones did: the shear along the track of close pairs of many turns reaches 160.
"""
LONGEST_DAYS = 365.0
"""Companions cover at most so much of a window."""
_TURNS = 256
"""Of the primary, at the begin and the end of a window, in which the largest growth is looked for."""


@dataclass(frozen=True)
class Trust:
    """amplification: largest growth of a companion's distance over the run; at_end: at the run's end.

    Unstable: the largest is more than regular motion makes of it.  period_spread_s: standard deviation of the mean
    period over the run and its companions; None where one of them has none, or no run was made.
    """

    amplification: float
    at_end: float
    unstable: bool
    period_spread_s: float | None

    @classmethod
    def of(cls, amplification: float, at_end: float, days: float, period_spread_s: float | None = None) -> Trust:
        """Of companions that cover so many days."""
        return cls(amplification, at_end, bool(is_unstable(amplification, days)), period_spread_s)


def is_unstable(growth, days: float):
    """Whether companions part by more than regular motion makes of it in so many days: of one growth or of (n,)."""
    return growth > UNSTABLE * max(1.0, abs(days) / 60.0)


def is_regular(long_axis_deg, tilt_deg, growth, days: float):
    """Whether a run can be foretold: the moonlet does not turn over, and companions stay beside it.

    Greatest angles of its axes (observables.orientation) and growth at the end of so many days; of one run or of (n,).
    """
    return np.logical_not(turned_over(long_axis_deg, tilt_deg) | is_unstable(growth, days))


def covered_days(days: float) -> float:
    """How much of a window companions cover."""
    return float(np.clip(days, -LONGEST_DAYS, LONGEST_DAYS))


def companions(state: State) -> list[State]:
    """The four states beside a state."""
    twists = np.eye(3) * TWIST_RAD
    turned = [np.array(quaternion_product(*state.attitude2, *quaternion_of_turn(*twist))) for twist in twists]
    along = np.cross(np.cross(state.position_m, state.velocity_m_s), state.position_m)
    along *= TWIST_RAD * np.linalg.norm(state.position_m) / np.linalg.norm(along)
    return [replace(state, attitude2=q) for q in turned] + [replace(state, position_m=state.position_m + along)]


def simulate_with_companions(
    system: System, days: float, state: State, sample_minutes: float, max_steps: int
) -> tuple[Trajectory, Trust]:
    """The run of a state, the same bits as on its own, and what its companions say of it; side by side in lanes."""
    states = [state, *companions(state)]
    covered = covered_days(days)
    run, *others = simulate_many([system] * len(states), covered, states, sample_minutes, max_steps)
    largest, at_end = np.max([_growth(run, other) for other in others], axis=0).tolist()
    spread_s = _period_spread_s([run, *others])
    if covered != days:
        run = simulate(system, days, state, sample_minutes, max_steps)
    return run, Trust.of(largest, at_end, covered, spread_s)


def by_seconds(trust: Trust) -> str:
    """By how much a period that depends on a hair is known, in words."""
    if trust.period_spread_s is None:
        return ""
    return f" by {rounded(trust.period_spread_s, 2)} s (standard deviation over it and its four neighbours)"


def _period_spread_s(runs: list[Trajectory]) -> float | None:
    try:
        return float(np.std([period(run).value_s for run in runs], ddof=1))
    except (FewCyclesError, InputError):
        return None


def trust_of_relaxed(orbit: PeriodicOrbit, days: float) -> Trust:
    """What companions of a relaxed state would say of a window, without a run: powers of the return map move them.

    Within 2 % of what runs say, where the state is stable; an angle is no more than half a turn.
    """
    covered, state = covered_days(days), orbit.state
    there = np.concatenate((state.position_m, state.velocity_m_s))
    return Trust.of(*growth_by_map(orbit.return_map, orbit.scale, there, orbit.turn_s, covered), covered)


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
    moved, most = _companions_by_map(scale, there), np.pi / TWIST_RAD
    with np.errstate(all="ignore"):
        begun = np.array(powers) @ moved
        ended = np.array(powers) @ (np.linalg.matrix_power(once, turns - len(powers)) @ moved)
        angles = np.minimum(_angles_by_map(scale, there, np.concatenate((begun, ended))), most)
    return max(1.0, float(angles.max())), float(angles[-1])


def _companions_by_map(scale: np.ndarray, there: np.ndarray) -> np.ndarray:
    """(18, 4): the four companions as displacements of unit angle, in units of the map."""
    moves = np.zeros((len(scale), 4))
    moves[12:15, :3] = np.eye(3)
    along = np.cross(np.cross(there[:3], there[3:]), there[:3])
    moves[0:3, 3] = along * (np.linalg.norm(there[:3]) / np.linalg.norm(along))
    return moves / scale[:, None]


def _angles_by_map(scale: np.ndarray, there: np.ndarray, moves: np.ndarray) -> np.ndarray:
    """(n,) angles of the moonlet's attitude or of the direction of r, the largest of each four; moves (n, 18, 4)."""
    moves = moves * scale[:, None]
    distance = np.linalg.norm(there[:3])
    direction = there[:3] / distance
    across = moves[:, 0:3] - direction[:, None] * np.einsum("i,nik->nk", direction, moves[:, 0:3])[:, None]
    angles = np.maximum(np.linalg.norm(moves[:, 12:15], axis=1), np.linalg.norm(across, axis=1) / distance)
    return np.nan_to_num(angles.max(axis=1), nan=np.inf, posinf=np.inf)


def _growth(run: Trajectory, other: Trajectory) -> tuple[float, float]:
    """Angle between two runs at common times, the largest and that at the end, over the angle at the start."""
    count = min(len(run.time_s), len(other.time_s))
    part, last = (slice(0, count), -1) if run.time_s[0] == 0.0 else (slice(-count, None), 0)
    attitude = attitude_angle(run.attitude2[part], other.attitude2[part], axis=1)
    r, s = (a.position_m[part] / np.linalg.norm(a.position_m[part], axis=1)[:, None] for a in (run, other))
    angles = np.maximum(attitude, np.linalg.norm(r - s, axis=1)) / TWIST_RAD
    return float(angles.max()), float(angles[last])


def attitude_angle(p: np.ndarray, q: np.ndarray, axis: int) -> np.ndarray:
    """Angle between attitudes, rad, of unit quaternions along an axis.

    Their chord, of either sign, is twice the sine of a quarter of the angle: exact for small ones too.
    """
    chord = np.minimum(np.linalg.norm(p - q, axis=axis), np.linalg.norm(p + q, axis=axis))
    return 4.0 * np.arcsin(np.minimum(0.5 * chord, 1.0))
