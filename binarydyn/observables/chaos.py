"""How far a run can be trusted: companion runs that start a hair beside it, and how much farther apart they end.

Four companions: the moonlet twisted about each of its three axes, and the moonlet moved along its track.  The
amplification is the largest angle between a companion and the run (of the moonlet's attitude, or of the direction of
r), over the angle at the start.  Regular motion shears companions apart in proportion to time; chaotic motion does so
exponentially, and then no integrator can promise the period: a moonlet that may tumble (Agrusa et al. 2021, Icarus
370, 114624) is an outcome to be named, not averaged in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..dynamics import State, System, Trajectory, simulate, simulate_many
from ..errors import FewCyclesError, InputError
from ..scenario.wording import rounded
from ..vectors import quaternion_of_turn, quaternion_product
from .estimates import period
from .orientation import turned_over

TWIST_RAD = 1e-7
"""Far above what the tightest tolerances lose, far below anything physical."""
UNSTABLE = 100.0
"""Growth in up to 60 days, and in proportion beyond, that regular motion does not reach.

Of 200 random hits two regular ones did: the shear along the track of close pairs of many turns reaches 160.
"""
LONGEST_DAYS = 365.0
"""Companions cover at most so much of a window."""


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
        run = simulate(system, days, state=state, every_minutes=sample_minutes, max_steps=max_steps)
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
