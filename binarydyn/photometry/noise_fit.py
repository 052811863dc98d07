"""How large the noise of light is: the numbers of red_noise.py by their marginal likelihood.

-2 ln L = ln |C| + r^T C^-1 r, and with slopes J of what else is free, of one prior sigma each, - b^T H^-1 b + ln |H|,
b = J^T C^-1 r, H = J^T C^-1 J + 1: what is linear is integrated out, as the columns of C are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .red_noise import LightNoise, LightWeighing

SCALE_SHARE = 0.3
"""One sigma of ln s: how well errors of points are usually stated (common practice)."""
TIME_S, TIME_FACTOR = 1800.0, 3.0
"""Median of T and one sigma of it as a factor: air and guiding wander in tens of minutes (common practice)."""
AMPLITUDE_FACTOR = 7.4
"""One sigma of a as a factor about half the error of a point."""
_FARTHEST = 4.0
"""Sigmas of their priors within which the numbers are sought."""


@dataclass(frozen=True)
class NoiseSize:
    """s, a in magnitudes and T in seconds of red_noise.py, and the -2 ln of the likelihood with their priors."""

    scale: float
    amplitude_mag: float
    time_s: float
    minus_two_ln: float

    def of(self, noise: LightNoise) -> LightWeighing:
        """The inverse with these numbers."""
        return noise.at(self.scale, self.amplitude_mag, self.time_s)


def noise_size(noise: LightNoise, residual: np.ndarray, slopes: np.ndarray | None = None) -> NoiseSize:
    """The most likely numbers for residuals (m,), magnitudes; slopes (m, p): of what else is fitted, by one sigma.

    Without red noise (a 0) where that is as likely.
    """
    from scipy.optimize import minimize

    given = np.column_stack([residual] if slopes is None else [residual, slopes])
    half = 0.5 * float(np.median(noise.sigma_mag))

    def told(x: np.ndarray) -> tuple[float, float, float]:
        scale, amplitude, time = np.exp(x * np.log([np.exp(SCALE_SHARE), AMPLITUDE_FACTOR, TIME_FACTOR]))
        return float(scale), float(half * amplitude), float(TIME_S * time)

    def cost(x: np.ndarray) -> float:
        return minus_two_ln(noise.at(*told(x)), given) + float(x @ x)

    def white(x: np.ndarray) -> float:
        return minus_two_ln(noise.at(float(np.exp(SCALE_SHARE * x[0]))), given) + float(x @ x)

    red, none = (
        minimize(of, np.zeros(n), method="L-BFGS-B", bounds=[(-_FARTHEST, _FARTHEST)] * n, options={"eps": 1e-4})
        for of, n in ((cost, 3), (white, 1))
    )
    if none.fun <= red.fun:
        return NoiseSize(float(np.exp(SCALE_SHARE * none.x[0])), 0.0, TIME_S, float(none.fun))
    return NoiseSize(*told(red.x), float(red.fun))


def minus_two_ln(weighing: LightWeighing, given: np.ndarray) -> float:
    """Of residuals in the first of the columns given (m, 1 + p), slopes by one sigma in the others."""
    gram = weighing.gram(given)
    b, h = gram[1:, 0], gram[1:, 1:] + np.eye(len(gram) - 1)
    return float(weighing.ln_det + gram[0, 0] - b @ np.linalg.solve(h, b) + np.linalg.slogdet(h)[1])
