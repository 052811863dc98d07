"""Small displacements of a state: eighteen numbers beside the twenty of the state, turns in place of quaternions."""

from __future__ import annotations

import numpy as np

from ..motion.layout import ATTITUDE1, ATTITUDE2, POSITION, RATE1, RATE2, VELOCITY
from ..vectors import quaternion_of_turn, quaternion_product

FREE = 18
"""Position, velocity (inertial frame), turn and rate of the primary, turn and rate of the secondary (body frames)."""
TURNS, SPINS = (slice(6, 9), slice(12, 15)), (slice(9, 12), slice(15, 18))
"""Of both bodies; position and velocity stand as in a state."""
product = getattr(quaternion_product, "py_func", quaternion_product)
"""quaternion_product on numbers or on whole arrays."""

LONGEST_MOVE = 0.2
"""Of one step of Newton's method, each component in its own size."""


def displaced(y: np.ndarray, move: np.ndarray) -> np.ndarray:
    """The states y (20,) or (20, m) with moves (18,) or (18, m) added: attitudes by small turns in body frames.

    Further rows of y stay as they are.
    """
    out = np.array(y)
    out[POSITION] += move[POSITION]
    out[VELOCITY] += move[VELOCITY]
    for attitude, rate, turn, spin in zip((ATTITUDE1, ATTITUDE2), (RATE1, RATE2), TURNS, SPINS, strict=True):
        out[attitude] = product(*y[attitude], *quaternions_of_turns(move[turn]))
        out[rate] += move[spin]
    return out


def shortened(move: np.ndarray) -> np.ndarray:
    """Newton's moves (k,) or (k, m), each along its own direction and no longer than LONGEST_MOVE."""
    return move * np.minimum(1.0, LONGEST_MOVE / np.maximum(np.abs(move).max(axis=0), 1e-300))


def quaternions_of_turns(turn: np.ndarray) -> np.ndarray:
    """Quaternions (4,) or (4, m) of turns (3,) or (3, m), rad, about that vector."""
    found = [quaternion_of_turn(*one) for one in turn.reshape(3, -1).T]
    return np.array(found).T.reshape(4, *turn.shape[1:])
