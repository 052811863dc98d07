"""One step of an explicit Runge-Kutta method as straight-line source, written from its table of coefficients.

A flat work array holds slots of 20 numbers: the state, the slopes k1..k16, an argument, the state at the end of the step, the weights
of the error norm and the seven coefficients of the interpolant.  Literal offsets let the compiler see that slots do not overlap.
"""

from __future__ import annotations

from functools import lru_cache
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
        f"    rates(model, w, {to}, {number * SIZE}, c, k)\n"
    )


def source() -> str:
    """Text of the module with the kernels `attempt` and `prepare_dense`."""
    stages = [_stage(s, row, END if s == 13 else ARGUMENT) for s, row in enumerate(tableau.STAGES, start=2)]
    five, three = (_weighted(row) for row in tableau.ERRORS)
    first, last = SIZE, 13 * SIZE
    text = '"""Steps of the Runge-Kutta method 8(5,3): written by binarydyn.dynamics.stepper."""\n\nimport math\n\n'
    text += "from binarydyn._jit import kernel\nfrom binarydyn.dynamics.motion import rates\n\n\n@kernel\ndef attempt(model, w, h, c, k):\n"
    text += '    """Try a step of length h from w[:20], whose slope is in place; returns the error norm, 1 at the tolerance."""\n'
    text += "".join(stages[:12])
    text += f"    five = 0.0\n    three = 0.0\n    for i in range({SIZE}):\n        s = w[{WEIGHT} + i]\n"
    text += f"        a = s * ({five})\n        b = s * ({three})\n        five += a * a\n        three += b * b\n"
    text += "    if five == 0.0 and three == 0.0:\n        return 0.0\n"
    text += f"    return abs(h) * five / math.sqrt((five + 0.01 * three) * {float(SIZE)})\n\n\n@kernel\ndef prepare_dense(model, w, h, c, k):\n"
    text += '    """After an accepted step: three more slopes and the coefficients of the interpolant."""\n'
    text += "".join(stages[12:])
    text += f"    for i in range({SIZE}):\n        d = w[{END} + i] - w[i]\n        w[{DENSE} + i] = d\n"
    text += f"        w[{DENSE + SIZE} + i] = h * w[{first} + i] - d\n"
    text += f"        w[{DENSE + 2 * SIZE} + i] = 2.0 * d - h * (w[{last} + i] + w[{first} + i])\n"
    for n, row in enumerate(tableau.DENSE, start=3):
        text += f"        w[{DENSE + n * SIZE} + i] = h * ({_weighted(row)})\n"
    return text


@lru_cache(maxsize=None)
def module() -> ModuleType:
    """The kernels."""
    return written_module("runge_kutta_8_5_3", source)
