"""Algebra of one vector (3,) or of many (3, n), one column each, so that one hit and a thousand share their formulae.

Component by component: a matrix product has other bits for one vector than for many.  Matrices are (3, 3) or (3, 3, n).
"""

from __future__ import annotations

import numpy as np


def dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """a.b, () or (n,)."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def length(a: np.ndarray) -> np.ndarray:
    """|a|, () or (n,)."""
    return np.sqrt(dot(a, a))


def unit(a: np.ndarray) -> np.ndarray:
    """a/|a|."""
    return a / length(a)


def cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """a x b."""
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def turned(matrix: np.ndarray, a: np.ndarray) -> np.ndarray:
    """matrix a."""
    return np.array([dot(row, a) for row in matrix])


def turned_back(matrix: np.ndarray, a: np.ndarray) -> np.ndarray:
    """matrix^T a."""
    return a[0] * matrix[0] + a[1] * matrix[1] + a[2] * matrix[2]
