"""Frequency analysis: the lines of a quasi-periodic signal as refined maxima of its Hann-weighted Fourier integral.

After Laskar 1990 (Icarus 88, 266, doi 10.1016/0019-1035(90)90084-M); with this window the error of a rate falls as T^-4
(Laskar 1993, Physica D 67, 257, doi 10.1016/0167-2789(93)90210-R; both cited from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from .averages import hann, mean

_PADDING = 4  # the transform's grid is this much finer than 1/T, so its highest point lies well inside the main lobe


@dataclass(frozen=True)
class Line:
    """One line: amplitude exp(i (rate t + phase)) of a complex signal, amplitude cos(rate t + phase) of a real one."""

    rate_rad_s: float
    amplitude: float
    phase_rad: float


def refined_rate(time_s: np.ndarray, signal: np.ndarray, weights: np.ndarray, guess_rad_s: float) -> float:
    """Rate near the guess at which |sum of weights signal exp(-i rate t)| is greatest, by Newton's method, rad/s.

    The guess lies within about 1/T of the maximum; the grid of times need not be uniform.
    """
    t = time_s - 0.5 * (time_s[0] + time_s[-1])
    half = t[-1]
    moments = np.array([weights, weights * t, weights * t * t])
    rate, longest = guess_rad_s, 0.5 / half
    for _ in range(30):
        f, f1, f2 = moments @ (signal * np.exp(-1j * rate * t))
        # |F|^2 with F' = -i f1, F'' = -f2
        slope = (f.conjugate() * f1).imag
        bend = abs(f1) ** 2 - (f.conjugate() * f2).real
        step = -slope / bend if bend < 0.0 else np.copysign(longest, slope)
        step = float(np.clip(step, -longest, longest))
        rate = float(rate + step)
        if abs(step) * half < 1e-13:
            break
    return rate


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
    weights = hann(time_s)
    rest, found = signal - mean(signal, weights), []
    for _ in range(count):
        rate = refined_rate(time_s, rest, weights, _highest_point(time_s, rest * weights, True))
        size = 2.0 * mean(rest * np.exp(-1j * rate * time_s), weights)
        found.append(Line(rate, float(abs(size)), float(np.angle(size))))
        rest = rest - wave(found[-1], time_s)
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


def _highest_point(time: np.ndarray, weighted: np.ndarray, is_real: bool) -> float:
    """Rate, rad/s, at the highest point of a padded fast Fourier transform; the zero rate is out for a real signal."""
    size = _PADDING * 2 ** int(np.ceil(np.log2(len(time))))
    step = time[1] - time[0]
    if is_real:
        power = np.abs(np.fft.rfft(weighted, size)[1:])
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
