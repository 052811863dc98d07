"""Whole numbers of steps for members that step side by side: each its own, whoever is beside it.

A member's bits depend on the length of its steps, so that must not come from the fastest of a block.  Numbers of steps
are taken from one ladder with rungs five per cent apart, so that members that differ little share a rung and step side
by side: closer rungs would cost more in lanes that are left over than they save in steps.
"""

from __future__ import annotations

import numpy as np

_RUNG = 1.05
_FIRST = 32
_LADDER = np.ceil(_FIRST * _RUNG ** np.arange(480)).astype(np.int64)
"""From 32 steps to 4e11."""


def rung(steps: np.ndarray) -> np.ndarray:
    """The next number on the ladder for each of the steps needed (n,)."""
    return _LADDER[np.searchsorted(_LADDER, np.minimum(steps, _LADDER[-1]))]
