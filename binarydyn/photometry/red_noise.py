"""How light errs: each point on its own, red noise within a night, and all by zero points and what the model leaves.

C = s^2 diag(sigma^2) + a^2 exp(-|t - t'|/T) [same run of points] + N N^T, columns of N of one sigma each.  On even
times the second part is an autoregressive process of first order, AR(1).  It is semiseparable of rank 1, so that with
the white part too C is factored and solved from point to point (Ambikasaran 2015, Numer. Linear Algebra Appl. 22, 1102,
doi 10.1002/nla.2003; Foreman-Mackey et al. 2017, AJ 154, 220, doi 10.3847/1538-3881/aa9332); columns by Woodbury's
formula.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .._jit import kernel


@dataclass(frozen=True)
class LightNoise:
    """sigma_mag (m,): of each point on its own; order (m,): points by run and time; gap_s (m,): in that order, from the
    point before, infinite where a run begins; columns (m, k): N, magnitudes."""

    sigma_mag: np.ndarray
    order: np.ndarray
    gap_s: np.ndarray
    columns: np.ndarray

    @classmethod
    def of(cls, sigma_mag: np.ndarray, time_s: np.ndarray, run: np.ndarray, columns: np.ndarray) -> LightNoise:
        """run (m,): points with the same number share red noise."""
        order = np.lexsort((time_s, run))
        same = np.diff(run[order], prepend=run.min() - 1) == 0
        gap = np.where(same, np.diff(time_s[order], prepend=0.0), np.inf)
        return cls(sigma_mag, order, gap, np.ascontiguousarray(columns))

    def at(self, scale: float = 1.0, amplitude_mag: float = 0.0, time_s: float = 1800.0) -> LightWeighing:
        """The inverse with these numbers: s, a and T."""
        return LightWeighing.of(self, (scale * self.sigma_mag) ** 2, amplitude_mag**2, time_s)


@dataclass(frozen=True)
class LightWeighing:
    """C^-1 and ln |C|, with the methods of timing.noise.Weighing, so that one likelihood can hold both.

    chain: order, phi, gain and pivot (m,) of the factor; variance a^2; weighed (m, k): of the columns, so that C^-1 is
    that of the chain less weighed weighed^T.
    """

    chain: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]
    variance: float
    weighed: np.ndarray
    ln_det: float

    @classmethod
    def of(cls, noise: LightNoise, own: np.ndarray, variance: float, time_s: float) -> LightWeighing:
        phi, gain, pivot = np.exp(-noise.gap_s / time_s), np.empty(len(own)), np.empty(len(own))
        factored(phi, own[noise.order] + variance, variance, gain, pivot)
        chain = cls((noise.order, phi, gain, pivot), variance, np.zeros((len(own), 0)), 0.0)
        weighed = chain.applied(noise.columns)
        factor = np.linalg.cholesky(np.eye(noise.columns.shape[1]) + noise.columns.T @ weighed)
        ln_det = float(np.sum(np.log(pivot)) + 2.0 * np.sum(np.log(np.diag(factor))))
        return cls(chain.chain, variance, weighed @ np.linalg.inv(factor).T, ln_det)

    def applied(self, a: np.ndarray) -> np.ndarray:
        """C^-1 a for a (.., m, k)."""
        given = np.ascontiguousarray(a).reshape(int(np.prod(a.shape[:-2])), *a.shape[-2:])
        found = np.empty(given.shape)
        solved_along(*self.chain, self.variance, given, found)
        found = found.reshape(a.shape)
        return found - self.weighed @ (self.weighed.T @ a)

    def gram(self, a: np.ndarray) -> np.ndarray:
        """(.., k, k) a^T C^-1 a for a (.., m, k)."""
        return np.swapaxes(a, -1, -2) @ self.applied(a)


@kernel
def factored(phi, diagonal, variance, gain, pivot):
    """Fill gain and pivot (m,): the red part's rank-1 factor and the diagonal of L D L^T; phi (m,): its correlation
    with the point before, 0 where a run begins; diagonal (m,): of the whole."""
    carried = 0.0
    for i in range(len(phi)):
        if i > 0:
            carried = phi[i] * phi[i] * (carried + pivot[i - 1] * gain[i - 1] * gain[i - 1])
        pivot[i] = diagonal[i] - variance * variance * carried
        gain[i] = (1.0 - variance * carried) / pivot[i]


@kernel
def solved_along(order, phi, gain, pivot, variance, given, found):
    """Fill found (b, m, k) with the inverse of what `factored` made, times given (b, m, k)."""
    last = len(phi) - 1
    for b in range(given.shape[0]):
        for c in range(given.shape[2]):
            carried = 0.0
            for i in range(last + 1):
                if i > 0:
                    carried = phi[i] * (carried + gain[i - 1] * found[b, order[i - 1], c])
                found[b, order[i], c] = given[b, order[i], c] - variance * carried
            carried = 0.0
            for i in range(last, -1, -1):
                if i < last:
                    carried = phi[i + 1] * (carried + variance * found[b, order[i + 1], c])
                found[b, order[i], c] = found[b, order[i], c] / pivot[i] - gain[i] * carried


def red_noise(time_s: np.ndarray, run: np.ndarray, amplitude_mag: float, scale_s: float, random) -> np.ndarray:
    """(m,) drawn red noise of standard deviation amplitude_mag, e-folding time scale_s within each run."""
    drawn, found, last = random.standard_normal(len(time_s)), np.empty(len(time_s)), None
    for i in np.lexsort((time_s, run)):
        kept = np.exp(-(time_s[i] - time_s[last]) / scale_s) if last is not None and run[last] == run[i] else 0.0
        found[i] = (kept * found[last] if kept else 0.0) + np.sqrt(1.0 - kept**2) * drawn[i]
        last = i
    return amplitude_mag * found
