"""One step of an explicit Runge-Kutta method as straight-line source, written from its table of coefficients.

Slots of the work array are those of motion/layout.py.  Literal offsets let the compiler see that they do not overlap.
What a step amounts to, its error norm and its interpolant, are functions of numbers here, for lanes too.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from types import ModuleType

from .._jit import by_model, fma, inlined, written_module
from ..motion import equations
from ..motion.layout import ARGUMENT, BEGUN, CLOCK, DENSE, END, ENDED, FIRST_SLOPE, LAST_SLOPE, SIZE, WEIGHT
from . import tableau_8_5_3 as tableau


@inlined
def error_sums(weight, fifth, third, five, three):
    """The sums of squares of both error estimates with one component more."""
    a, b = weight * fifth, weight * third
    return fma(a, a, five), fma(b, b, three)


@inlined
def error_norm(h, five, three):
    """The norm of the error of a step of length h, 1 at the tolerance."""
    return abs(h) * five / math.sqrt((five + 0.01 * three) * float(SIZE) + 1e-300)


@inlined
def first_coefficients(h, begin, end, first_slope, last_slope):
    """The first three coefficients of the interpolant, from the ends of the step and the slopes there."""
    d = end - begin
    return d, h * first_slope - d, 2.0 * d - h * (last_slope + first_slope)


@inlined
def between(a, begin, d0, d1, d2, d3, d4, d5, d6):
    """The interpolant at the fraction a of the step."""
    b = 1.0 - a
    y = fma(a, d6, d5)
    y = fma(b, y, d4)
    y = fma(a, y, d3)
    y = fma(b, y, d2)
    y = fma(a, y, d1)
    y = fma(b, y, d0)
    return fma(a, y, begin)


def weighted(row: dict[int, float], slope: Callable[[int], str]) -> str:
    """sum of value * slope, fused, the latest slope last: it is the one that is waited for."""
    text = ""
    for number, value in row.items():
        text = f"fma({value!r}, {slope(number)}, {text})" if text else f"{value!r} * {slope(number)}"
    return text


def _slope(number: int) -> str:
    return f"w[{SIZE * number} + i]"


def _time(row: dict[int, float]) -> str:
    """The time of a stage; at the end of the step exactly the time from which the next step goes on."""
    node = math.fsum(row.values())
    return f"w[{ENDED}]" if abs(node - 1.0) < 1e-12 else f"fma({node!r}, h, w[{BEGUN}])"


def _stage(number: int, row: dict[int, float], to: int, timed: bool) -> str:
    clock = f"    w[{CLOCK}] = {_time(row)}\n" if timed else ""
    return (
        f"    for i in range({SIZE}):\n        w[{to} + i] = fma(h, {weighted(row, _slope)}, w[i])\n{clock}"
        f"    rates(w, int64({to}), int64({number * SIZE}), c, k)\n"
    )


_HEAD = '''"""Runge-Kutta 8(5,3) steps with gravity model {number}: written by binarydyn.integrators.stepper."""

from numba import int64

from binarydyn._jit import fma, kernel
from binarydyn.integrators.stepper import error_norm, error_sums, first_coefficients
from binarydyn_written.motion_{number} import rates
'''
_ATTEMPT = '''

@kernel
def attempt(w, h, c, k):
    """Try a step of length h from w[:20], whose slope is in place; returns the error norm, 1 at the tolerance."""
{stages}    five = 0.0
    three = 0.0
    for i in range({size}):
        five, three = error_sums(w[{weight} + i], {fifth}, {third}, five, three)
    return error_norm(h, five, three)
'''
_PREPARE_DENSE = '''

@kernel
def prepare_dense(w, h, c, k):
    """After an accepted step: three more slopes and the coefficients of the interpolant."""
{stages}    for i in range({size}):
        d = first_coefficients(h, w[i], w[{end} + i], w[{first} + i], w[{last} + i])
        w[{dense} + i], w[{dense} + {size} + i], w[{dense} + 2 * {size} + i] = d
'''


def source(number: int) -> str:
    """Text of the module with the kernels `attempt` and `prepare_dense` of a gravity model."""
    timed = number >= equations.PERTURBED
    stages = [_stage(s, row, END if s == 13 else ARGUMENT, timed) for s, row in enumerate(tableau.STAGES, start=2)]
    fifth, third = (weighted(row, _slope) for row in tableau.ERRORS)
    places = {"size": SIZE, "weight": WEIGHT, "end": END, "dense": DENSE, "first": FIRST_SLOPE, "last": LAST_SLOPE}
    text = _HEAD.format(number=number) + _ATTEMPT.format(
        stages="".join(stages[:12]), fifth=fifth, third=third, **places
    )
    text += _PREPARE_DENSE.format(stages="".join(stages[12:]), **places)
    for n, row in enumerate(tableau.DENSE, start=3):
        text += f"        w[{DENSE + n * SIZE} + i] = h * {weighted(row, _slope)}\n"
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
