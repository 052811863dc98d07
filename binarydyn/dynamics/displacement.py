"""Small displacements of a state: eighteen numbers beside the twenty of the state, turns in place of quaternions."""

from __future__ import annotations

import numpy as np

from ..vectors import quaternion_of_turn, quaternion_product

FREE = 18
"""Position, velocity (inertial frame), turn and rate of the primary, turn and rate of the secondary (body frames)."""


def displaced(y: np.ndarray, move: np.ndarray) -> np.ndarray:
    """The state y (20,) with (18,) added: attitudes by small turns in body frames."""
    out = y.copy()
    out[0:6] += move[0:6]
    out[6:10] = quaternion_product(*y[6:10], *quaternion_of_turn(*move[6:9]))
    out[10:13] += move[9:12]
    out[13:17] = quaternion_product(*y[13:17], *quaternion_of_turn(*move[12:15]))
    out[17:20] += move[15:18]
    return out
