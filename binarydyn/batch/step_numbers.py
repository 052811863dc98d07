"""How many steps of the splitting each member makes: its own number, whoever steps beside it.

A member's bits depend on the length of its steps, so that must not come from the fastest of a block.  Numbers of steps
are taken from one ladder with rungs five per cent apart, so that members that differ little share a rung and step side
by side: closer rungs would cost more in lanes that are left over than they save in steps.
"""

from __future__ import annotations

import numpy as np

from ..constants import DAY_S
from ..integrators.splitting import RESONANCE, STEP_SPIN, STEP_TURN

_RUNG = 1.05
_FIRST = 32
_LADDER = np.ceil(_FIRST * _RUNG ** np.arange(480)).astype(np.int64)
"""From 32 steps to 4e11."""


def steps_of(y: np.ndarray, gm_m3_s2: np.ndarray, days: float, finer: float = 1.0) -> np.ndarray:
    """(n,) whole numbers of steps for a window from states (20, n): `finer` times what the step of the splitting needs.

    Steps are within STEP_TURN of the orbit and STEP_SPIN of the faster spin, and off the resonance with the primary's
    forcing (integrators/splitting.py).
    """
    window_s = abs(days) * DAY_S
    x, w, s = y[0:3], y[10:13], y[17:20]
    distance = np.sqrt(x[0] * x[0] + x[1] * x[1] + x[2] * x[2])
    turn = np.sqrt(gm_m3_s2 / distance) / distance
    primary, secondary = (np.sqrt(r[0] * r[0] + r[1] * r[1] + r[2] * r[2]) for r in (w, s))
    spin = np.maximum(turn, np.maximum(primary, secondary))
    steps = _rung(finer * window_s * np.maximum(turn / STEP_TURN, spin / STEP_SPIN))
    low, high = RESONANCE
    cycles = window_s * np.abs(primary - turn) / np.pi
    beats = (low * steps < cycles) & (cycles < high * steps)
    return np.where(beats, _rung(cycles / low), steps)


def _rung(steps: np.ndarray) -> np.ndarray:
    return _LADDER[np.searchsorted(_LADDER, np.minimum(steps, _LADDER[-1]))]
