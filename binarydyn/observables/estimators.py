"""Ways to read the mean sidereal period off a window of an orbit, each with an honest estimate of its error.

Every function takes a Window and returns seconds.  None of the errors knows of variations that make less than two turns
in the window: these belong to its mean period.
"""

from __future__ import annotations

import numpy as np

from ..errors import InputError
from ..motion.state import aligned_m2, oblate_term
from .averages import hann, mean, slope, spans, squared_hann
from .frequency import refined_rate
from .interpolation import passages
from .window import Window

TURN = 2.0 * np.pi


def weighted_fit(window: Window) -> float:
    """Linear fit of the longitude under w = sin^4(pi t/T): an oscillation's share of the rate falls as T^-6."""
    return TURN / slope(window.time_s, window.longitude_rad, squared_hann(window.time_s))


def longitude_slope(window: Window) -> float:
    """Plain linear fit of the longitude: an oscillation's share of the rate falls as T^-2."""
    return TURN / slope(window.time_s, window.longitude_rad, spans(window.time_s))


def frequency(window: Window) -> float:
    """Main rate of exp(i longitude) by Hann-weighted frequency analysis: an oscillation's share falls as T^-4."""
    time = window.time_s
    guess = TURN * window.cycles / (time[-1] - time[0])
    return TURN / refined_rate(time, np.exp(1j * window.longitude_rad), hann(time), guess)


def passage_times(window: Window) -> np.ndarray:
    """Times at which r passes the direction that it has at the first sample, which is the first of them."""
    count = int(window.cycles + 1e-12)
    return passages(window.time_s, window.longitude_rad, window.rate_rad_s, TURN * np.arange(count + 1))


def crossings(window: Window) -> float:
    """Mean spacing of passages, first to last whole cycle: an oscillation's share falls as T^-1.

    A window without a whole cycle gives its mean rate from end to end.
    """
    times = passage_times(window)
    if len(times) < 2:
        return float(window.time_s[-1] - window.time_s[0]) / window.cycles
    return float(times[-1] - times[0]) / (len(times) - 1)


def osculating(window: Window) -> float:
    """Kepler period 2 pi sqrt(a^3/GM) of the time-averaged osculating a = 1/(2/r - v^2/GM), GM of both bodies."""
    return _kepler_period(window, float(mean(_semi_major_axes(window), spans(window.time_s))))


def third_law_j2(window: Window) -> float:
    """Third law of a circular equatorial orbit about an oblate primary, a = time mean of |r|.

    n^2 a^3/GM = 1 + 3/2 J2 R^2/a^2 (Murray & Dermott 1999, Solar System Dynamics, ch. 6).
    """
    a = float(mean(window.separation_m, spans(window.time_s)))
    return _kepler_period(window, a) / float(np.sqrt(1.0 + oblate_term(window.system.oblateness_m2, a)))


def _kepler_period(window: Window, a: float) -> float:
    return float(TURN * np.sqrt(a**3 / window.system.gm_m3_s2))


def _semi_major_axes(window: Window) -> np.ndarray:
    v = window.velocity_m_s
    inverse = 2.0 / window.separation_m - np.einsum("ij,ij->i", v, v) / window.system.gm_m3_s2
    if np.any(inverse <= 0.0):
        raise InputError(
            "trajectory",
            "the osculating orbit is not closed at some samples, so it has no Kepler period; "
            "cut the window before the escape",
        )
    return 1.0 / inverse


# Errors.


def sigma_from_parts(estimator):
    """Error of a fit: rms difference of its values on the first, central and last 80 % of the window from the whole's.

    The shorter parts err by more than the whole, so this errs on the side of caution; 1e-13 of the period is rounding.
    """

    def sigma(window: Window) -> float:
        whole = estimator(window)
        others = [estimator(window.part(start, start + 0.8)) for start in (0.0, 0.1, 0.2)]
        return float(np.sqrt(np.mean(np.square(np.subtract(others, whole)))) + 1e-13 * whole)

    return sigma


def sigma_crossings(window: Window) -> float:
    """sqrt 2 times the scatter of the passages about equal spacing, over the number of cycles (+ rounding)."""
    times = passage_times(window)
    count = np.arange(len(times), dtype=float)
    period = slope(count, times, np.ones_like(count))
    late = times - times.mean() - period * (count - count.mean())
    scatter = np.sqrt(late @ late / (len(times) - 2))
    return float(np.sqrt(2.0) * scatter / count[-1] + 1e-13 * period)


def sigma_osculating(window: Window) -> float:
    """The bias 3 q P that quadrupoles give a circular orbit's osculating period, and the scatter of a over the cycles.

    q = (J2 R^2 + J2' R'^2 + 6 C22' R'^2)/a^2: the osculating a is r (1 + 3/2 q), the true n^2 is GM/r^3 (1 + 3/2 q).
    """
    a = _semi_major_axes(window)
    q = window.system.flattening_m2 / a.mean() ** 2
    return osculating(window) * float(np.hypot(3.0 * q, 1.5 * a.std() / a.mean() / window.cycles) + 1e-13)


def sigma_third_law_j2(window: Window) -> float:
    """First terms left out: 3/4 (J2' + 6 C22') R'^2/a^2, the primary's J4 of a homogeneous spheroid, 3/4 e^2.

    J4 R^4 = -(15/7) (J2 R^2)^2 enters n^2 as -15/8 J4 (R/a)^4, the period as half of it.
    """
    r = window.separation_m
    q = window.system.oblateness_m2 / r.mean() ** 2
    e = (r.max() - r.min()) / (r.max() + r.min())
    left_out = (0.75 * aligned_m2(window.system.secondary) / r.mean() ** 2, 225.0 / 112.0 * q**2, 0.75 * e**2)
    return third_law_j2(window) * float(np.linalg.norm(left_out) + 1e-13)
