"""How event times err: each on its own, those of one night together, and all by what the model may have wrong.

C = s^2 diag(sigma^2/w) + floor^2 + tau^2 [same group] + N N^T, columns of N of one sigma each (middles.py).  C^-1 is
applied by parts: the diagonal, one number a group (Sherman & Morrison), and the columns (Woodbury; both in any handbook
of linear algebra).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

FLOOR_S = 3.0
"""What the kernel of the dips and the line of longitude leave, 1 sigma."""
_LEAST_COLUMN_S = 0.05
"""Directions of N that move no time by more are left out."""


@dataclass(frozen=True)
class Noise:
    """sigma_s (n,): of each time on its own, or its shape where none is stated; members (g, n): which events share an
    error; columns_s (n, m): N, or fewer columns with the same N N^T; causes_s (n, k): those that were given."""

    sigma_s: np.ndarray
    members: np.ndarray
    columns_s: np.ndarray
    causes_s: np.ndarray

    @classmethod
    def of(cls, sigma_s: np.ndarray, group: np.ndarray | None, columns_s: np.ndarray | None) -> Noise:
        """group (n,): None where nothing is common."""
        columns = np.zeros((len(sigma_s), 0)) if columns_s is None else columns_s
        shared = np.zeros((0, len(sigma_s))) if group is None else np.unique(group)[:, None] == group
        return cls(sigma_s, shared.astype(float), _fewer(columns), columns)

    def loosened(self, factor: np.ndarray) -> Noise:
        """The same where each cause (k,) may be larger by a factor."""
        causes = self.causes_s * factor
        return replace(self, columns_s=_fewer(causes), causes_s=causes)

    def own_variance(self, scale: float) -> np.ndarray:
        """(n,) of each event, common errors apart."""
        return (scale * self.sigma_s) ** 2 + FLOOR_S**2

    def at(self, scale: float, tau_s: float, weight: np.ndarray | float = 1.0) -> Weighing:
        """The inverse with these numbers; weight (n,): w, of the independent variances."""
        return Weighing.of(self.own_variance(scale) / weight, tau_s, self.members, self.columns_s)


def _fewer(columns_s: np.ndarray) -> np.ndarray:
    """Columns (n, k) with the same N N^T, without what is too small to matter."""
    if columns_s.shape[1] == 0:
        return columns_s
    left, size, _ = np.linalg.svd(columns_s, full_matrices=False)
    moves = np.abs(left * size).max(axis=0)
    return (left * size)[:, moves > _LEAST_COLUMN_S]


@dataclass(frozen=True)
class Weighing:
    """C^-1 = diag(inverse) - groups^T groups - columns columns^T, and ln |C|; groups (g, n), columns (n, m)."""

    inverse: np.ndarray
    groups: np.ndarray
    columns: np.ndarray
    ln_det: float

    @classmethod
    def of(cls, variance: np.ndarray, tau_s: float, members: np.ndarray, columns_s: np.ndarray) -> Weighing:
        inverse = 1.0 / variance
        told = 1.0 + tau_s**2 * (members @ inverse)
        groups = members * inverse * (tau_s / np.sqrt(told))[:, None]
        weighed = columns_s * inverse[:, None] - groups.T @ (groups @ columns_s)
        factor = np.linalg.cholesky(np.eye(columns_s.shape[1]) + columns_s.T @ weighed)
        ln_det = np.sum(np.log(variance)) + np.sum(np.log(told)) + 2.0 * np.sum(np.log(np.diag(factor)))
        # a triangular solve of LAPACK waits for other threads: 15 ms where the inverse, of a factor above 1, takes 0.1
        columns = weighed @ np.linalg.inv(factor).T
        return cls(inverse, groups, columns, float(ln_det))

    def applied(self, a: np.ndarray) -> np.ndarray:
        """C^-1 a for a (.., n, k)."""
        return a * self.inverse[:, None] - self.groups.T @ (self.groups @ a) - self.columns @ (self.columns.T @ a)

    def gram(self, a: np.ndarray) -> np.ndarray:
        """(.., k, k) a^T C^-1 a for a (.., n, k)."""
        return np.swapaxes(a, -1, -2) @ self.applied(a)
