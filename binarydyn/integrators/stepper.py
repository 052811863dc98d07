"""One step of an explicit Runge-Kutta method as straight-line source, written from its table of coefficients.

A flat work array holds slots of 20 numbers: the state, the slopes k1..k16, an argument, the state at the end of the
step, the weights of the error norm, the seven coefficients of the interpolant, and times: now, of the step's start, of
its end.  Literal offsets let the compiler see that slots do not overlap.
"""

from __future__ import annotations

import math
from functools import cache
from types import ModuleType

from .._jit import by_model, written_module
from ..motion import equations
from ..motion.layout import ARGUMENT, BEGUN, CLOCK, DENSE, END, ENDED, SIZE, WEIGHT
from . import tableau_8_5_3 as tableau


def _weighted(row: dict[int, float]) -> str:
    """sum of value * slope, fused, the latest slope last: it is the one that is waited for."""
    (slope, value), *rest = row.items()
    text = f"{value!r} * w[{SIZE * slope} + i]"
    for slope, value in rest:
        text = f"fma({value!r}, w[{SIZE * slope} + i], {text})"
    return text


def _time(row: dict[int, float]) -> str:
    """The time of a stage; at the end of the step exactly the time from which the next step goes on."""
    node = math.fsum(row.values())
    return f"w[{ENDED}]" if abs(node - 1.0) < 1e-12 else f"fma({node!r}, h, w[{BEGUN}])"


def _stage(number: int, row: dict[int, float], to: int, timed: bool) -> str:
    clock = f"    w[{CLOCK}] = {_time(row)}\n" if timed else ""
    return (
        f"    for i in range({SIZE}):\n        w[{to} + i] = fma(h, {_weighted(row)}, w[i])\n{clock}"
        f"    rates(w, int64({to}), int64({number * SIZE}), c, k)\n"
    )


_HEAD = '''"""Runge-Kutta 8(5,3) steps with gravity model {number}: written by binarydyn.integrators.stepper."""

import math

from numba import int64

from binarydyn._jit import fma, kernel
from binarydyn_written.motion_{number} import rates
'''
_ATTEMPT = '''

@kernel
def attempt(w, h, c, k):
    """Try a step of length h from w[:20], whose slope is in place; returns the error norm, 1 at the tolerance."""
{stages}    five = 0.0
    three = 0.0
    for i in range({size}):
        s = w[{weight} + i]
        a = s * {fifth}
        b = s * {third}
        five = fma(a, a, five)
        three = fma(b, b, three)
    return abs(h) * five / math.sqrt((five + 0.01 * three) * {size}.0 + 1e-300)
'''
_PREPARE_DENSE = '''

@kernel
def prepare_dense(w, h, c, k):
    """After an accepted step: three more slopes and the coefficients of the interpolant."""
{stages}    for i in range({size}):
        d = w[{end} + i] - w[i]
        w[{dense} + i] = d
        w[{dense} + {size} + i] = h * w[{size} + i] - d
        w[{dense} + 2 * {size} + i] = 2.0 * d - h * (w[13 * {size} + i] + w[{size} + i])
'''


def source(number: int) -> str:
    """Text of the module with the kernels `attempt` and `prepare_dense` of a gravity model."""
    timed = number >= equations.PERTURBED
    stages = [_stage(s, row, END if s == 13 else ARGUMENT, timed) for s, row in enumerate(tableau.STAGES, start=2)]
    fifth, third = (_weighted(row) for row in tableau.ERRORS)
    places = {"size": SIZE, "weight": WEIGHT, "end": END, "dense": DENSE}
    text = _HEAD.format(number=number) + _ATTEMPT.format(
        stages="".join(stages[:12]), fifth=fifth, third=third, **places
    )
    text += _PREPARE_DENSE.format(stages="".join(stages[12:]), **places)
    for n, row in enumerate(tableau.DENSE, start=3):
        text += f"        w[{DENSE + n * SIZE} + i] = h * {_weighted(row)}\n"
    return text


@cache
def module(number: int) -> ModuleType:
    """The kernels of a gravity model."""
    equations.module(number)  # its rates are imported by the written text
    return written_module(f"runge_kutta_steps_{number}", lambda: source(number))


attempt = by_model(module, "attempt")
"""attempt(model, w, h, c, k): try a step from w[:20]; returns the error norm, 1 at the tolerance."""
prepare_dense = by_model(module, "prepare_dense")
"""prepare_dense(model, w, h, c, k): after an accepted step, the coefficients of the interpolant."""
