"""Frequency analysis: the lines of a quasi-periodic signal as refined maxima of its Hann-weighted Fourier integral.

After Laskar 1990 (Icarus 88, 266, doi 10.1016/0019-1035(90)90084-M); with this window the error of a rate falls as T^-4
(Laskar 1993, Physica D 67, 257, doi 10.1016/0167-2789(93)90210-R).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..kinds import WHOLE, shape, takes
from .averages import hann, mean

_PADDING = 4  # the transform's grid is this much finer than 1/T, so its highest point lies well inside the main lobe


@dataclass(frozen=True)
class Line:
    """One line: amplitude exp(i (rate t + phase)) of a complex signal, amplitude cos(rate t + phase) of a real one."""

    rate_rad_s: float
    amplitude: float
    phase_rad: float


_ROW = 64


@dataclass(frozen=True)
class _Folded:
    """A weighted signal in rows of _ROW samples on a uniform grid, zeros at the end, and the times of row and place.

    exp(-i rate t) is then the product of one value a row and one a place: a hundred exponentials in place of thousands.
    """

    values: np.ndarray
    row_s: np.ndarray
    place_s: np.ndarray

    @classmethod
    def of(cls, time_s: np.ndarray, weighted: np.ndarray) -> _Folded:
        """Times count from the middle of the window; every sample is a row where the grid is not uniform."""
        t, count = time_s - 0.5 * (time_s[0] + time_s[-1]), len(time_s)
        width = _ROW if even_count(time_s) == count else 1
        rows = -(-count // width)
        values = np.zeros(rows * width, dtype=complex)
        values[:count] = weighted
        place = (t[-1] - t[0]) / (count - 1) * np.arange(width)
        return cls(values.reshape(rows, width), t[::width].copy(), place)

    def waves(self, rate_rad_s: float) -> tuple[np.ndarray, np.ndarray]:
        """exp(-i rate t) of rows and of places."""
        return np.exp(-1j * rate_rad_s * self.row_s), np.exp(-1j * rate_rad_s * self.place_s)

    def moments(self, rate_rad_s: float) -> tuple[complex, complex, complex]:
        """Sums over the samples of values, t values and t^2 values, each times exp(-i rate t)."""
        rows, places = self.waves(rate_rad_s)
        t, d = self.row_s, self.place_s
        one, two, three = (self.values @ np.array([places, d * places, d * d * places]).T).T
        return rows @ one, rows @ (t * one + two), rows @ (t * (t * one + 2.0 * two) + three)


def refined_rate(time_s: np.ndarray, signal: np.ndarray, weights: np.ndarray, guess_rad_s: float) -> float:
    """Rate near the guess at which |sum of weights signal exp(-i rate t)| is greatest, by Newton's method, rad/s.

    The guess lies within about 1/T of the maximum; the grid of times need not be uniform.
    """
    return _highest_near(_Folded.of(time_s, weights * signal), 0.5 * (time_s[-1] - time_s[0]), guess_rad_s)


def _highest_near(folded: _Folded, half_s: float, guess_rad_s: float) -> float:
    rate, longest = guess_rad_s, 0.5 / half_s
    for _ in range(30):
        f, f1, f2 = folded.moments(rate)
        # |F|^2 with F' = -i f1, F'' = -f2
        slope = (f.conjugate() * f1).imag
        bend = abs(f1) ** 2 - (f.conjugate() * f2).real
        step = -slope / bend if bend < 0.0 else np.copysign(longest, slope)
        step = min(max(step, -longest), longest)
        rate = float(rate + step)
        if abs(step) * half_s < 1e-13:
            break
    return rate


@takes(time_s=shape(None), count=WHOLE)
def lines(time_s: np.ndarray, signal: np.ndarray, count: int = 1) -> list[Line]:
    """The strongest lines of a uniformly sampled signal, strongest first found; fewer when nothing is left.

    time_s (n,), s; signal (n,), real (its mean is removed first; rates > 0) or complex (rates of either sign).
    After each new line all amplitudes are fitted again together and the sum is subtracted; the rates stay as found.
    Rates have to be several 2 pi/T apart (twice that from their mirror image, in a real signal).
    Errors: InputError for fewer than 8 samples or an uneven grid.
    """
    time, signal = np.asarray(time_s, dtype=float), np.asarray(signal)
    _check_grid(time, signal)
    weights = hann(time)
    is_real = not np.iscomplexobj(signal)
    rest = signal - mean(signal, weights) if is_real else signal
    whole, floor = rest, 1e-14 * np.abs(signal).max()
    rates: list[float] = []
    amplitudes = np.empty(0, dtype=complex)
    while len(rates) < count and np.abs(rest).max() > floor:
        rates.append(refined_rate(time, rest, weights, _highest_point(time, rest * weights, is_real)))
        amplitudes, rest = _without(time, whole, weights, np.array(rates), is_real)
    return [Line(w, float(abs(c)), float(np.angle(c))) for w, c in zip(rates, amplitudes, strict=True)]


def peeled(time_s: np.ndarray, signal: np.ndarray, count: int) -> list[Line]:
    """As `lines` for a real signal, but each line is taken off by itself, with the amplitude that the window gives it.

    Ten times as fast; amplitudes, and so the weaker lines, err by what stronger ones leak into them: as (2 pi/T)^3 over
    the cube of their distance.
    """
    weights, middle = hann(time_s), 0.5 * (time_s[0] + time_s[-1])
    rest, found, whole = signal - mean(signal, weights), [], weights.sum()
    for _ in range(count):
        weighted = rest * weights
        folded = _Folded.of(time_s, weighted)
        rate = _highest_near(folded, time_s[-1] - middle, _highest_point(time_s, weighted, True))
        size = 2.0 * folded.moments(rate)[0] / whole
        rows, places = folded.waves(rate)
        rest = rest - np.outer(size * rows.conj(), places.conj()).real.ravel()[: len(time_s)]
        size *= np.exp(-1j * rate * middle)
        found.append(Line(rate, float(abs(size)), float(np.angle(size))))
    return found


def wave(line: Line, time_s: np.ndarray) -> np.ndarray:
    """(n,) amplitude cos(rate t + phase)."""
    return line.amplitude * np.cos(line.rate_rad_s * time_s + line.phase_rad)


def even_count(time_s: np.ndarray) -> int:
    """How many samples from the first stand on a uniform grid; one less than all when the last step was cut short."""
    step = np.diff(time_s)
    uneven = np.flatnonzero(np.abs(step - step[0]) > 1e-6 * step[0])
    return int(uneven[0]) + 1 if len(uneven) else len(time_s)


def _check_grid(time: np.ndarray, signal: np.ndarray) -> None:
    if time.ndim != 1 or time.shape != signal.shape or len(time) < 8:
        raise InputError("signal", f"{signal.shape} values at {time.shape} times given; both must be (n,) with n >= 8")
    if not time[1] > time[0] or even_count(time) < len(time):
        raise InputError("time_s", "the times must ascend in equal steps; drop the short last step or sample anew")


def _padded(count: int) -> int:
    """A size from _PADDING times the count on that transforms fast: a power of two, or 9/8, 5/4 or 3/2 of one."""
    power = 2 ** (max(_PADDING * count - 1, 1).bit_length() - 1)
    return next(size for size in (power, power * 9 // 8, power * 5 // 4, power * 3 // 2, 2 * power)
                if size >= _PADDING * count)  # fmt: skip


def _highest_point(time: np.ndarray, weighted: np.ndarray, is_real: bool) -> float:
    """Rate, rad/s, at the highest point of a padded fast Fourier transform; the zero rate is out for a real signal."""
    size, step = _padded(len(time)), time[1] - time[0]
    if is_real:
        found = np.fft.rfft(weighted, size)[1:]
        power = found.real**2 + found.imag**2
        return 2.0 * np.pi * (1 + int(np.argmax(power))) / (size * step)
    return float(2.0 * np.pi * np.fft.fftfreq(size, step)[np.argmax(np.abs(np.fft.fft(weighted, size)))])


def _without(time, signal, weights, rates, is_real) -> tuple[np.ndarray, np.ndarray]:
    """Complex amplitudes of all lines fitted together (squares weighted with the Hann window), and what they leave."""
    waves = np.exp(1j * rates * time[:, None])
    design = np.hstack([waves.real, -waves.imag, np.ones((len(time), 1))]) if is_real else waves
    root = np.sqrt(weights)
    fitted = np.linalg.lstsq(design * root[:, None], signal * root, rcond=None)[0]
    n = len(rates)
    return (fitted[:n] + 1j * fitted[n : 2 * n] if is_real else fitted), signal - design @ fitted
