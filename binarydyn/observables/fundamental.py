"""The four fundamental frequencies of a secondary that turns with its orbit, told apart in its motion.

In the frame that turns with the orbit at n, with principal moments A <= B <= C and the long axis on r (Hughes 1986,
Spacecraft Attitude Dynamics, ch. 9; derived anew and compared with simulation in the tests):
libration, turns in the plane:       w = n sqrt(3 (B - A)/C);
turns out of the plane (roll, pitch): l^4 - l^2 (1 + 3 q + p q) + 4 p q = 0, l = rate/n, p = (C - B)/A, q = (C - A)/B.
The slower of the two is the nutation: the figure wobbles about the spin as a free top's does, at n sqrt(p q), but twice
as fast.  The faster, less n, is the precession: at that rate the secondary's pole goes round the orbit normal in space,
3/2 q n backwards for a nearly round body.  Where small whole multiples of the four meet, attitude becomes unstable
(Agrusa et al. 2021, Icarus 370, 114624).  Orbit coupling, eccentricity and amplitude move all of them by some percent,
so these rates only say where to look; what is reported are the lines of the motion, by refined frequency analysis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..bodies.averaged import free_turns
from ..constants import HOUR_S
from ..kinds import takes
from ..motion.trajectory import Trajectory
from .averages import hann
from .frequency import Line, even_count, peeled, refined_rate, wave
from .orientation import AttitudeHistory
from .window import window

TURN = 2.0 * np.pi
NEAR = 0.25
"""Share by which a line may lie off the rate of small motions: at 40 deg of libration it does so by a tenth."""
LEAST_DEG = 1e-6
"""Amplitude below which a line is not told from what integration leaves."""
_COUNT = 6
_RIVAL = 0.5
_STEADY = 0.5  # resolutions by which the rate may differ in a half of the window from the whole
_SIDEBAND = 0.3  # of a carrier: an eccentricity or libration of that size in radians makes one so high
_SAMPLES_A_TURN = 16
_APART = 2.0  # resolutions 2 pi/T by which two lines must differ to be two, under a Hann window


@dataclass(frozen=True)
class SmallMotion:
    """Rates over n of small turns of a synchronous secondary on a circular orbit; see the head of this file."""

    libration: float
    fast: float
    slow: float

    @property
    def precession(self) -> float:
        """Of the pole in space."""
        return self.fast - 1.0

    @property
    def nutation(self) -> float:
        """Of the figure about the spin."""
        return self.slow


@dataclass(frozen=True)
class FundamentalLines:
    """Periods, h, and amplitudes, deg, of the four; None where a line cannot be told.

    A line is told where the secondary keeps facing the primary and the line is by far the strongest near the rate of
    small motions (two alike are a resonance or chaos), is no combination of others, is at least LEAST_DEG high, and has
    the same rate in both halves of the window.
    mean_motion: main line of exp(i longitude); libration: of the yaw; nutation: the slow line of roll and pitch;
    precession: their fast line, less the mean motion.  Amplitudes of the last two are the larger of roll's and pitch's.
    """

    mean_motion_h: float | None = None
    libration_h: float | None = None
    libration_deg: float | None = None
    precession_h: float | None = None
    precession_deg: float | None = None
    nutation_h: float | None = None
    nutation_deg: float | None = None


def small_motion(inertia: np.ndarray) -> SmallMotion:
    """From principal moments A <= B <= C, in any unit."""
    A, B, C = inertia
    p, q = (C - B) / A, (C - A) / B
    half = 0.5 * (1.0 + 3.0 * q + p * q)
    fast = half + np.sqrt(half**2 - 4.0 * p * q)  # real: half^2 >= 4 p q for all 0 <= p, q <= 1
    return SmallMotion(*(float(np.sqrt(x)) for x in (3.0 * (B - A) / C, fast, 4.0 * p * q / fast)))


@takes(trajectory="Trajectory", history="AttitudeHistory")
def fundamental_lines(trajectory: Trajectory, history: AttitudeHistory) -> FundamentalLines:
    """The four lines of a window of at least five turns and the attitude in it.  Errors: InputError."""
    view = window(trajectory)
    if view.cycles < 5.0:
        return FundamentalLines()
    time = view.time_s
    guess = TURN * view.cycles / (time[-1] - time[0])
    n = refined_rate(time, np.exp(1j * view.longitude_rad), hann(time), guess)
    if history.tumbling or free_turns(trajectory.system.secondary.inertia_kg_m2).all():
        return FundamentalLines(TURN / n / HOUR_S)
    grid = _Grid.of(time, n)
    expected = small_motion(trajectory.system.secondary.inertia_kg_m2)
    kappa = grid.strongest(view.separation_m)
    swing = grid.told(_Spectrum.of(grid, history.yaw_deg), expected.libration * n, _multiples(kappa))
    slow, fast = _tilts(grid, history, expected, kappa, swing)
    above = fast is not None and fast.rate_rad_s > n + grid.apart
    return FundamentalLines(
        TURN / n / HOUR_S,
        *_seen(swing, 0.0),
        *_seen(fast if above else None, n),
        *_seen(slow, 0.0),
    )


def _tilts(grid: _Grid, history: AttitudeHistory, expected: SmallMotion, *by: Line | None) -> tuple:
    """Slow and fast line of roll and pitch; the weaker one must be no modulation of the stronger one.

    Motion in the plane cannot force them, it can only modulate them.
    """
    spectra = [_Spectrum.of(grid, angle) for angle in (history.roll_deg, history.pitch_deg)]

    def line(rate: float) -> Line | None:
        found = [told for told in (grid.told(s, rate * grid.n, []) for s in spectra) if told]
        return max(found, key=lambda line: line.amplitude, default=None)

    slow, fast = line(expected.slow), line(expected.fast)
    if slow and fast:
        modulations = [grid.n, *(line.rate_rad_s for line in by if line)]
        if _modulates(grid, fast, slow, modulations):
            fast = None
        elif _modulates(grid, slow, fast, modulations):
            slow = None
    return slow, fast


def _modulates(grid: _Grid, weak: Line, strong: Line, modulations: list[float]) -> bool:
    """Whether the weak line may be the strong one, changed in strength or phase at one of the rates."""
    sides = [abs(rate + sign * strong.rate_rad_s) for rate in modulations for sign in (-1.0, 1.0)]
    near = any(abs(weak.rate_rad_s - side) < grid.apart for side in sides)
    return near and weak.amplitude < _SIDEBAND * strong.amplitude


def _seen(line: Line | None, less_rad_s: float) -> tuple[float | None, float | None]:
    return (TURN / (line.rate_rad_s - less_rad_s) / HOUR_S, line.amplitude) if line else (None, None)


def _multiples(line: Line | None) -> list[float]:
    """Rates at which a motion forces another one."""
    return [line.rate_rad_s, 2.0 * line.rate_rad_s] if line else []


@dataclass(frozen=True)
class _Grid:
    """Evenly spaced samples, no more of them than the lines need."""

    samples: slice
    time: np.ndarray
    n: float
    resolution: float

    @classmethod
    def of(cls, time_s: np.ndarray, mean_motion_rad_s: float) -> _Grid:
        often = TURN / mean_motion_rad_s / _SAMPLES_A_TURN / (time_s[1] - time_s[0])
        samples = slice(0, even_count(time_s), max(1, int(often)))
        time = time_s[samples]
        return cls(samples, time, mean_motion_rad_s, TURN / (time[-1] - time[0]))

    @property
    def apart(self) -> float:
        """By which rates must differ to be two, rad/s."""
        return _APART * self.resolution

    def strongest(self, signal: np.ndarray) -> Line | None:
        """The main line, None for a constant."""
        values = signal[self.samples]
        return peeled(self.time, values, 1)[0] if np.ptp(values) > 1e-9 * abs(values[0]) else None

    def told(self, spectrum: _Spectrum, near: float, others: list[float]) -> Line | None:
        """The strongest line near a rate that is none of others; None where there is none, a rival or none lasting."""
        if near < 3.0 * self.resolution:
            return None
        free = [
            line
            for line in spectrum.lines
            if abs(line.rate_rad_s / near - 1.0) < NEAR
            and line.amplitude > LEAST_DEG
            and all(abs(line.rate_rad_s - other) > self.apart for other in others)
        ]
        best, *weaker = sorted(free, key=lambda line: -line.amplitude) if free else (None,)
        if best is None or any(line.amplitude > _RIVAL * best.amplitude for line in weaker):
            return None
        return best if self._lasts(spectrum, best) else None

    def _lasts(self, spectrum: _Spectrum, best: Line) -> bool:
        """Whether the line, with what stands beside it as a changing rate would, has one rate in both halves."""
        beside = [line for line in spectrum.lines if abs(line.rate_rad_s - best.rate_rad_s) < 2.0 * self.apart]
        alone = spectrum.rest + sum(wave(line, self.time) for line in beside)
        middle = len(self.time) // 2
        for part in (slice(0, middle), slice(middle, None)):
            rate = refined_rate(self.time[part], alone[part], hann(self.time[part]), best.rate_rad_s)
            if abs(rate - best.rate_rad_s) > _STEADY * self.resolution:
                return False
        return True


@dataclass(frozen=True)
class _Spectrum:
    """Strongest lines of a signal, and what they leave of it."""

    lines: tuple[Line, ...]
    rest: np.ndarray

    @classmethod
    def of(cls, grid: _Grid, signal: np.ndarray) -> _Spectrum:
        values = signal[grid.samples]
        found = peeled(grid.time, values, _COUNT) if np.ptp(values) > LEAST_DEG else []
        rest = values - values.mean() - sum(wave(line, grid.time) for line in found)
        return cls(tuple(found), rest)
