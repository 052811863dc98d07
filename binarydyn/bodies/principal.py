"""The principal axes of a body, chosen as near as possible to the axes in which it was given."""

from __future__ import annotations

from itertools import product

import numpy as np

EQUAL_MOMENTS = 1e-9


def principal_axes(inertia: np.ndarray) -> np.ndarray:
    """Rotation (3, 3) from the given frame to the principal one with I_x <= I_y <= I_z, right-handed.

    inertia (3, 3) symmetric.  Of the four rotations that differ in signs, the one by the smallest angle; where two
    moments agree to 1e-9 of the largest, any turn about the third axis is principal and the smallest is taken; where
    all three agree, none.  Equal angles are decided by the larger sum of entries, then by the rows in order.
    """
    moments, columns = np.linalg.eigh(inertia)
    low_pair, high_pair = np.diff(moments) <= EQUAL_MOMENTS * moments[2]
    if low_pair and high_pair:
        return np.eye(3)
    candidates = []
    for signs in product((1.0, -1.0), repeat=3):
        rows = columns.T * np.array(signs)[:, None]
        if np.linalg.det(rows) > 0.0:
            candidates.append(
                _nearest_turn(rows, 0, 1) if low_pair else _nearest_turn(rows, 1, 2) if high_pair else rows
            )
    return max(candidates, key=lambda r: (round(np.trace(r), 9), round(r.sum(), 9), tuple(np.round(r, 9).ravel())))


def _nearest_turn(rows: np.ndarray, p: int, q: int) -> np.ndarray:
    """Turn rows p and q in their plane so that the trace, and with it the nearness to the identity, is largest."""
    u, v = rows[p], rows[q]
    angle = np.arctan2(v[p] - u[q], u[p] + v[q])
    turned = rows.copy()
    turned[p], turned[q] = np.cos(angle) * u + np.sin(angle) * v, np.cos(angle) * v - np.sin(angle) * u
    return turned
