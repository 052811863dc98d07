"""Where the bodies are at any instant of a run, between its samples too."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .._jit import kernel
from ..errors import InputError
from ..kinds import NUMBER, check_kind
from ..motion.equations import quaternion_rate
from ..motion.state import State
from ..motion.trajectory import Trajectory
from ..observables.orientation import rotation_matrices
from ..vectors import quaternion_product
from .figure import Figure

SAMPLES_A_TURN = 9
"""Of the primary: then the interpolated attitude is good to 1e-8, its quaternion turns half as fast as the body."""


@dataclass(frozen=True)
class Places:
    """Both figures at m instants: middles (m, 3), the primary's centre of mass at the origin, and axes (m, 3, 3)."""

    centre1_m: np.ndarray
    axes1: np.ndarray
    centre2_m: np.ndarray
    axes2: np.ndarray
    position_m: np.ndarray


class MotionBetween:
    """A run looked up at any time within it, by the polynomial of degree 7 through four samples and their rates."""

    def __init__(self, trajectory: Trajectory):
        if len(trajectory.time_s) < 4:
            raise InputError(
                "trajectory",
                f"{len(trajectory.time_s)} samples are given, at least 4 are allowed; use a longer window or samples "
                "closer together",
            )
        self.trajectory = trajectory
        self.figures = Figure.of(trajectory.system.primary), Figure.of(trajectory.system.secondary)
        q1, q2 = trajectory.attitude1, trajectory.attitude2
        self._value = np.hstack([trajectory.position_m, _unbroken(q1), _unbroken(q2)])
        rates = [
            np.stack(quaternion_rate(_unbroken(q).T, w.T), axis=1)
            for q, w in ((q1, trajectory.rate1_rad_s), (q2, trajectory.rate2_rad_s))
        ]
        self._rate = np.hstack([trajectory.velocity_m_s, *rates])

    @property
    def start_s(self) -> float:
        """First instant."""
        return float(self.trajectory.time_s[0])

    @property
    def end_s(self) -> float:
        """Last instant."""
        return float(self.trajectory.time_s[-1])

    def at(self, time_s: np.ndarray, columns: int = 11) -> tuple[np.ndarray, np.ndarray]:
        """Position and both quaternions (m, 11), not of unit length, and their rates at times (m,) within the run; of
        the first columns alone where fewer are asked for."""
        found, rate = np.empty((2, len(time_s), columns))
        looked_up(self.trajectory.time_s, self._value, self._rate, time_s, found, rate)
        return found, rate

    def position_m(self, time_s: np.ndarray) -> np.ndarray:
        """(m, 3) from the primary to the secondary."""
        return self.at(time_s, 3)[0]

    def places(self, time_s: np.ndarray) -> Places:
        """Both figures at times (m,) within the run."""
        y, _ = self.at(time_s)
        one, two = self.figures
        centre1, axes1 = one.placed(np.zeros((len(y), 3)), rotation_matrices(y[:, 3:7]))
        centre2, axes2 = two.placed(y[:, 0:3], rotation_matrices(y[:, 7:11]))
        return Places(centre1, axes1, centre2, axes2, y[:, 0:3])


@kernel
def divided_differences(times, value, rate, k, first, z, d):
    """Fill z (8,), nodes from sample k, each of four samples from `first` on twice, and d (c, 8), Newton's form."""
    for i in range(8):
        z[i] = times[first + i // 2] - times[k]
    for c in range(len(d)):
        for i in range(7, 0, -1):
            row = first + i // 2
            d[c, i] = rate[row, c] if i % 2 else (value[row, c] - value[row - 1, c]) / (z[i] - z[i - 1])
        d[c, 0] = value[first, c]
        for level in range(2, 8):
            for i in range(7, level - 1, -1):
                d[c, i] = (d[c, i] - d[c, i - 1]) / (z[i] - z[i - level])


@kernel
def looked_up(times, value, rate, at, found, found_rate):
    """Values and rates (m, c) at times (m,) in the first c columns of a table (n, ..) of both, n at least 4: the
    polynomial of observables/interpolation.py, whose intermediate tables cost ten times its arithmetic here."""
    columns = found.shape[1]
    z, d = np.empty(8), np.empty((columns, 8))
    last, known = len(times) - 2, -1
    for m in range(len(at)):
        k = min(max(np.searchsorted(times, at[m], "right") - 1, 0), last)
        if k != known:  # instants of one event share the polynomial
            divided_differences(times, value, rate, k, min(max(k - 1, 0), last - 2), z, d)
            known = k
        x = at[m] - times[k]
        for c in range(columns):
            p, p1 = d[c, 7], 0.0
            for i in range(6, -1, -1):
                p1 = p1 * (x - z[i]) + p
                p = p * (x - z[i]) + d[c, i]
            found[m, c], found_rate[m, c] = p, p1


def _unbroken(quaternion: np.ndarray) -> np.ndarray:
    """(n, 4) the same attitudes, each with the sign that is nearer to the one before it."""
    flips = np.sum(quaternion[1:] * quaternion[:-1], axis=1) < 0.0
    return quaternion * np.where(np.cumsum(np.insert(flips, 0, False)) % 2 == 1, -1.0, 1.0)[:, None]


def state_at(trajectory: Trajectory, time_s: float) -> State:
    """The state at an instant within a run: a sample, or the polynomial of degree 7 through four samples and rates.

    time_s, s, from t0.  Good to 1e-8 in the attitudes where a turn of the faster body has SAMPLES_A_TURN samples.
    Raises InputError outside the run, or where it has fewer than four samples.

    >>> import binarydyn as bd
    >>> run = bd.simulate(bd.build(bd.example()), days=1.0, every_minutes=10.0)
    >>> run.at(3700.0)
    <State 821.02 m apart, 0.13750 m/s; spins 0.00086 and 0.000168 rad/s>
    """
    check_kind("Trajectory.at", time_s, NUMBER)
    if len(there := np.flatnonzero(trajectory.time_s == time_s)):
        return State.from_vector(trajectory.y[there[0]])
    between = MotionBetween(trajectory)
    if not between.start_s <= time_s <= between.end_s:
        allowed = f"{between.start_s:g} .. {between.end_s:g}"
        raise InputError("Trajectory.at(time_s)", f"{time_s:g} s is given, allowed is {allowed}; change it")
    (y,), (rate,) = between.at(np.array([float(time_s)]))
    turned = [part for at in (3, 7) for part in _turning(y[at : at + 4], rate[at : at + 4])]
    return State(y[:3], rate[:3], *turned)


def _turning(q: np.ndarray, rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Quaternion of unit length and angular rate, body frame, 2 q* q', of one of any length and its rate."""
    square = float(q @ q)
    return q / square**0.5, 2.0 / square * np.array(_product(q[0], *-q[1:], *rate))[1:]


_product = getattr(quaternion_product, "py_func", quaternion_product)
