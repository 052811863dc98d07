"""What many cases amount to, worked out while they are stepped: nothing is stored but the outcomes and the last state.

The mean rate of the longitude under the squared Hann window (observables/estimators.py, weighted_fit) is a weighted
sum of the angles turned in each step, so one number a case holds it; extremes of the distance, of the angle between
the secondary's long axis and the line of centres, and of the tilt of its short axis against the orbit normal cost one
number each. Steps are those of the splitting (integrators/splitting.py); this file writes them for lanes, gpu.py the
same text for a GPU.
"""

from __future__ import annotations

from functools import cache
from types import ModuleType

import numba

from .._jit import by_model, entry_points, kernel, written_module
from ..gravity.tape import Tape, text_of
from ..integrators.lanes import in_lanes
from ..integrators.splitting import step, work_size
from ..motion.equations import double_reciprocal, turn
from ..motion.layout import ATTITUDE2, INVERSE, LANES, POSITION, ROWS, SIZE, VELOCITY

GIVEN, KEPT = 7, 7
"""Of each case: the axes from which and towards which the longitude counts, and which end of the long axis points at
the primary; then what is kept while stepping: the last direction (2), sum of weighted turns, 1/|r| least and largest,
cosines of the long axis' angle and of the short axis' tilt, least."""
_TERMS = 15
"""Of the arctangent's series, enough to rounding for steps in which the orbit turns up to 1.2 rad."""


def measure_terms(tape: Tape, y: list, u, given: list, kept: list, weight) -> list:
    """What is kept after a step that ends in the state y with u = 1/|r|; weight that of the turn in this step."""
    r, v = y[POSITION], y[VELOCITY]
    a, b = (u * (r[0] * e[0] + r[1] * e[1] + r[2] * e[2]) for e in (given[0:3], given[3:6]))
    cross, dot = kept[0] * b - kept[1] * a, kept[0] * a + kept[1] * b
    square = cross * cross + dot * dot
    half = cross * tape.reciprocal(dot + square * tape.inverse_root(square))
    square = 1.0 + half * half
    quarter = half * tape.reciprocal(1.0 + square * tape.inverse_root(square))
    z, series = quarter * quarter, 0.0
    for n in reversed(range(_TERMS)):
        series = (-1.0) ** n / (2.0 * n + 1.0) + z * series
    turned = 4.0 * (quarter * series)
    w, i, j, k = y[ATTITUDE2]
    matrix = turn(w, i, j, k, double_reciprocal(w, i, j, k))
    long, short = [row[0] for row in matrix], [row[2] for row in matrix]
    normal = [r[1] * v[2] - r[2] * v[1], r[2] * v[0] - r[0] * v[2], r[0] * v[1] - r[1] * v[0]]
    facing = given[6] * (u * (long[0] * r[0] + long[1] * r[1] + long[2] * r[2]))
    upright = short[0] * normal[0] + short[1] * normal[1] + short[2] * normal[2]
    upright = upright * tape.inverse_root(normal[0] * normal[0] + normal[1] * normal[1] + normal[2] * normal[2])
    extremes = [tape.smaller(kept[3], u), tape.larger(kept[4], u), tape.smaller(kept[5], facing)]
    return [a, b, kept[2] + weight * turned, *extremes, tape.smaller(kept[6], upright)]


def measuring() -> tuple[Tape, list]:
    """The measurement on a tape.

    From the state y0 .. y19, k7 = 1/|r|, what is given, e0 .. e6, and kept, m0 .. m6, with the weight g, to the next m.
    """
    tape = Tape()
    y, given, kept = (tape.array(*array) for array in (("y", range(SIZE)), ("e", range(GIVEN)), ("m", range(KEPT))))
    (u,), (g,) = tape.array("k", [INVERSE - SIZE]), tape.inputs("g")
    return tape, measure_terms(tape, y, u, given, kept, g)


def first_rows(number: int) -> dict[str, int]:
    """Where in the columns of a gravity model state, constants, coefficients, what is given and what is kept begin."""
    rows = work_size(number, 1)
    return ROWS | {"e": rows, "m": rows + GIVEN}


def source(number: int) -> str:
    """Text of the module with the kernel `measure` of a gravity model, whose lanes have so many coefficients."""
    first = first_rows(number)
    tape, results = measuring()
    lines = tape.body(results, in_lanes(first))
    lines += [f"w[{(first['m'] + i) * LANES} + l] = {text_of(value)}" for i, value in enumerate(results)]
    text = f'"""What is kept after each step, gravity model {number}: written by binarydyn.batch.accumulate."""\n\n'
    text += "import math\n\nfrom binarydyn._jit import fma, kernel, wide_vectors\n\n\n"
    text += f"@kernel\ndef measure(w, g):\n    wide_vectors()\n    for l in range({LANES}):\n"
    return text + "".join(f"        {line}\n" for line in lines)


@cache
def module(number: int) -> ModuleType:
    """The kernel `measure` of a gravity model."""
    return written_module(f"measure_{number}", lambda: source(number))


measure = by_model(module, "measure")


@kernel
def advance(model, w, weights, first, count, h):
    """Steps first .. first + count - 1 of all lanes, each with the weight of its turn."""
    model = numba.literally(model)
    for n in range(first, first + count):
        step(model, w, h)
        measure(model, w, weights[n])


@cache
def entry(number: int):
    """Compiled entry point `advance` of one gravity model, cached on disk."""
    arguments = "w, weights, first, count, h"
    return entry_points("accumulate_model", number, "batch.accumulate", advance=arguments)
