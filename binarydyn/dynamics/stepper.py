"""One step of an explicit Runge-Kutta method as straight-line source, written from its table of coefficients.

A flat work array holds slots of 20 numbers: the state, the slopes k1..k16, an argument, the state at the end of the
step, the weights of the error norm and the seven coefficients of the interpolant.  Literal offsets let the compiler
see that slots do not overlap.
"""

from __future__ import annotations

from functools import cache
from types import ModuleType

from .._jit import written_module
from . import tableau_8_5_3 as tableau

SIZE = 20
ARGUMENT, END, WEIGHT, DENSE = 17 * SIZE, 18 * SIZE, 19 * SIZE, 20 * SIZE
WORK = 27 * SIZE


def _weighted(row: dict[int, float]) -> str:
    return " + ".join(f"{value!r} * w[{SIZE * slope} + i]" for slope, value in row.items())


def _stage(number: int, row: dict[int, float], to: int) -> str:
    return (
        f"    for i in range({SIZE}):\n        w[{to} + i] = w[i] + h * ({_weighted(row)})\n"
        f"    rates(model, w, int64({to}), int64({number * SIZE}), c, k)\n"
    )


_HEAD = '''"""Steps of the Runge-Kutta method 8(5,3): written by binarydyn.dynamics.stepper."""

import math

from numba import int64

from binarydyn._jit import kernel
from binarydyn.dynamics.motion import rates
'''
_ATTEMPT = '''

@kernel
def attempt(model, w, h, c, k):
    """Try a step of length h from w[:20], whose slope is in place; returns the error norm, 1 at the tolerance."""
{stages}    five = 0.0
    three = 0.0
    for i in range({size}):
        s = w[{weight} + i]
        a = s * ({fifth})
        b = s * ({third})
        five += a * a
        three += b * b
    if five == 0.0 and three == 0.0:
        return 0.0
    return abs(h) * five / math.sqrt((five + 0.01 * three) * {size}.0)
'''
_PREPARE_DENSE = '''

@kernel
def prepare_dense(model, w, h, c, k):
    """After an accepted step: three more slopes and the coefficients of the interpolant."""
{stages}    for i in range({size}):
        d = w[{end} + i] - w[i]
        w[{dense} + i] = d
        w[{dense} + {size} + i] = h * w[{size} + i] - d
        w[{dense} + 2 * {size} + i] = 2.0 * d - h * (w[13 * {size} + i] + w[{size} + i])
'''


def source() -> str:
    """Text of the module with the kernels `attempt` and `prepare_dense`."""
    stages = [_stage(s, row, END if s == 13 else ARGUMENT) for s, row in enumerate(tableau.STAGES, start=2)]
    fifth, third = (_weighted(row) for row in tableau.ERRORS)
    places = {"size": SIZE, "weight": WEIGHT, "end": END, "dense": DENSE}
    text = _HEAD + _ATTEMPT.format(stages="".join(stages[:12]), fifth=fifth, third=third, **places)
    text += _PREPARE_DENSE.format(stages="".join(stages[12:]), **places)
    for n, row in enumerate(tableau.DENSE, start=3):
        text += f"        w[{DENSE + n * SIZE} + i] = h * ({_weighted(row)})\n"
    return text


@cache
def module() -> ModuleType:
    """The kernels."""
    return written_module("runge_kutta_8_5_3", source)
