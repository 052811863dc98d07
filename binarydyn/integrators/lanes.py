"""Eight members side by side: right-hand side and Runge-Kutta steps whose innermost loop runs over the members.

Each member (lane) has its own state, parameters and step.  One flat work array holds slots of 20 x 8 numbers in the
order of motion/layout.py, component by component, with the lanes innermost; after them the parameters of each lane.
The operations and their order are those of the scalar kernels, so each lane gets the bits of a run on its own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache, partial
from types import ModuleType

import llvmlite.binding as llvm
import numpy as np

from .._jit import by_model, written_module
from ..gravity.models import MODELS
from ..gravity.multipoles import component_list
from ..gravity.tape import text_of
from ..motion.equations import rates_on_tape
from ..motion.layout import (
    ARGUMENT,
    AT,
    CONSTANTS,
    DENSE,
    END,
    ERROR,
    FACTOR,
    FIRST_SLOPE,
    LANES,
    LAST_SLOPE,
    PARAMETERS,
    RUN,
    SIZE,
    SLOPE,
    SPREAD,
    STEP,
    TAKEN,
    WEIGHT,
)
from . import tableau_8_5_3 as tableau
from .stepper import weighted

WIDTH = SIZE * LANES


def work_size(number: int) -> int:
    """Length of the work array of a gravity model."""
    model = MODELS[number]
    return (PARAMETERS + CONSTANTS + 2 * len(component_list(model.degree, model.even))) * LANES


def vector_bits() -> int:
    """Bits of the widest vectors of this processor that the compiler knows of: 512, 256, or 128 where it knows none.

    Lanes are calculated in as many instructions as that takes, to the same bits.
    """
    try:
        features = llvm.get_host_cpu_features()
    except RuntimeError:
        return 128
    return 512 if features.get("avx512f") else 256 if features.get("avx") else 128


def aligned(count: int) -> np.ndarray:
    """Zeros that begin on a cache line, which 512-bit loads want."""
    raw = np.zeros(count + 8)
    first = (-raw.ctypes.data // 8) % 8
    return raw[first : first + count]


_HEAD = '''"""Runge-Kutta 8(5,3) in eight lanes, gravity model {number}: written by binarydyn.integrators.lanes."""

import math

from binarydyn._jit import called_not_copied, fma, kernel, wide_vectors
from binarydyn.integrators.step_rules import fitting
from binarydyn.integrators.stepper import between as inside
from binarydyn.integrators.stepper import error_norm, error_sums, first_coefficients


'''
_ATTEMPT = '''

@kernel
def attempt(w):
    """Try a step in every lane; the error norm and the factor for the next step are left in their slot."""
    wide_vectors()
    for l in range({lanes}):
        h = w[{step} + l]
{spread}{stages}    for l in range({lanes}):
        h, five, three = w[{step} + l], 0.0, 0.0
{errors}        error = error_norm(h, five, three)
        w[{error} + l], w[{factor} + l] = error, fitting(error)


@kernel
def take_ends(w):
    """In the lanes whose step is taken, make its end the new start; its slope is known already."""
    wide_vectors()
    for l in range({lanes}):
        taken = w[{taken} + l] > 0.0
{ends}

@kernel
def between(w):
    """States at the fraction of the step that each lane asks for, to the argument's slot; as rungekutta.interpolate."""
    wide_vectors()
    for l in range({lanes}):
        a = w[{at} + l]
{inside}'''
_PREPARE_DENSE = '''

@kernel
def prepare_dense(w):
    """After a step: three more slopes and the coefficients of the interpolant, in every lane."""
    wide_vectors()
{stages}    for i in range({width}):
        h = w[{steps} + i]
        d = first_coefficients(h, w[i], w[{end} + i], w[{first} + i], w[{last} + i])
        w[{dense} + i], w[{dense} + {width} + i], w[{dense} + 2 * {width} + i] = d
'''


def _slope(number: int, component: str = "i") -> str:
    return f"w[{WIDTH * number} + {component}]"


def _stage(number: int, row: dict[int, float]) -> str:
    """Store the last stage's slope where it belongs, and go to the argument of this stage, in one pass."""
    last = number - 1
    text = f"    for i in range({WIDTH}):\n"
    if last > 1 and last != 13:
        text += f"        new = w[{SLOPE * LANES} + i]\n        w[{last * WIDTH} + i] = new\n"
    else:
        last = 0
    slopes = weighted(row, lambda slope: "new" if slope == last else _slope(slope))  # the newest is at hand
    argument = f"fma(w[{SPREAD * LANES} + i], {slopes}, w[i])"
    text += f"        y = {argument}\n        w[{ARGUMENT * LANES} + i] = y\n"
    if number == 13:
        text += f"        w[{END * LANES} + i] = y\n"
    text += "    rates(w)\n"
    if number in (13, 16):
        text += f"    for i in range({WIDTH}):\n        w[{number * WIDTH} + i] = w[{SLOPE * LANES} + i]\n"
    return text


def _errors() -> str:
    """Sums of the squared errors over the components of a lane, each component in its turn."""
    lines = []
    for i in range(SIZE):
        place = f"{i * LANES} + l"
        fifth, third = (weighted(row, partial(_slope, component=place)) for row in tableau.ERRORS)
        lines.append(f"five, three = error_sums(w[{WEIGHT * LANES} + {place}], {fifth}, {third}, five, three)")
    return "".join(f"        {line}\n" for line in lines)


def _ends() -> str:
    """Start and slope of each component from the end of the step, or as they were."""
    lines = []
    for i in range(SIZE):
        start, slope = i * LANES, (FIRST_SLOPE + i) * LANES
        lines.append(f"end, new = w[{END * LANES + start} + l], w[{LAST_SLOPE * LANES + start} + l]")
        lines.append(f"old, was = w[{start} + l], w[{slope} + l]")
        lines.append(f"w[{start} + l] = end if taken else old")
        lines.append(f"w[{slope} + l] = new if taken else was")
    return "".join(f"        {line}\n" for line in lines)


def _inside() -> str:
    """The interpolant of each component in turn."""
    lines = []
    for i in range(SIZE):
        parts = ", ".join(f"w[{(place + i) * LANES} + l]" for place in (0, *range(DENSE, DENSE + 7 * SIZE, SIZE)))
        lines.append(f"w[{(ARGUMENT + i) * LANES} + l] = inside(a, {parts})")
    return "".join(f"        {line}\n" for line in lines)


def in_lanes(first: Mapping[str, int], lanes: int = LANES) -> dict[str, Callable[[int], str]]:
    """How a lane `l` reads arrays that begin in these rows of the work array; see Tape.body."""
    return {array: partial(_read, row, lanes) for array, row in first.items()}


def _read(row: int, lanes: int, i: int) -> str:
    return f"w[{(row + i) * lanes} + l]"


def rates_source(degree: int, even: bool) -> str:
    """Text of the kernel `rates`: from the argument's slot to the slope's, for every lane."""
    tape, out = rates_on_tape(degree, even)
    lines = tape.body(out, in_lanes({"y": ARGUMENT, "k": PARAMETERS, "c": PARAMETERS + CONSTANTS}))
    lines += [f"w[{(SLOPE + i) * LANES} + l] = {text_of(v)}" for i, v in enumerate(out)]
    text = '@kernel\ndef rates(w):\n    """Rates of the states in the argument\'s slot."""\n'
    text += "    called_not_copied()\n    wide_vectors()\n"
    return text + f"    for l in range({LANES}):\n" + "".join(f"        {line}\n" for line in lines)


def source(number: int) -> str:
    """Text of the module with the kernels of a gravity model."""
    model = MODELS[number]
    stages = [_stage(s, row) for s, row in enumerate(tableau.STAGES, start=2)]
    places: dict[str, int | str] = {
        "lanes": LANES,
        "size": SIZE,
        "width": WIDTH,
        "steps": SPREAD * LANES,
        "end": END * LANES,
    }
    places |= {"step": (RUN + STEP) * LANES, "first": FIRST_SLOPE * LANES, "last": LAST_SLOPE * LANES}
    places |= {"dense": DENSE * LANES, "errors": _errors(), "ends": _ends(), "inside": _inside()}
    places |= {"error": ERROR * LANES, "factor": FACTOR * LANES, "taken": TAKEN * LANES, "at": AT * LANES}
    places["spread"] = "".join(f"        w[{(SPREAD + i) * LANES} + l] = h\n" for i in range(SIZE))
    text = _HEAD.format(number=number) + rates_source(model.degree, model.even)
    text += _ATTEMPT.format(stages="".join(stages[:12]), **places)
    text += _PREPARE_DENSE.format(stages="".join(stages[12:]), **places)
    for n, row in enumerate(tableau.DENSE, start=3):
        text += f"        w[{(DENSE + n * SIZE) * LANES} + i] = h * {weighted(row, _slope)}\n"
    return text


@cache
def module(number: int) -> ModuleType:
    """The kernels of a gravity model."""
    return written_module(f"lanes_{number}", lambda: source(number))


rates = by_model(module, "rates")
attempt = by_model(module, "attempt")
prepare_dense = by_model(module, "prepare_dense")
take_ends = by_model(module, "take_ends")
between = by_model(module, "between")
