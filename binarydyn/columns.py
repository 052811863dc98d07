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


def towards(longitude_deg: float | np.ndarray, latitude_deg: float | np.ndarray) -> np.ndarray:
    """Unit vector of a longitude, from x towards y, and a latitude, towards z."""
    longitude, latitude = np.radians(longitude_deg), np.radians(latitude_deg)
    across = np.cos(latitude)
    return np.array([across * np.cos(longitude), across * np.sin(longitude), np.sin(latitude)])


def angle_deg(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Between a and b, deg, exact for small ones too, where an arc cosine has lost its digits; 0 where one is zero."""
    return np.degrees(np.arctan2(length(cross(a, b)), dot(a, b)))
