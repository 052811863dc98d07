"""A structure-preserving integrator: the motion split into parts that are each solved exactly, composed to high order.

H = [Kepler + both bodies as symmetric tops] + [U beyond the monopole + what makes each body no symmetric top].  The
second bracket is small (epsilon, a few per cent), so a composition made for perturbed problems (tableau_splitting.py),
seven kicks a step, has errors of O(epsilon h^10 + epsilon^2 h^4).  The kick itself is composed of two parts that do not
commute, a second-order error of O(epsilon^2 h^2) that shows only at steps far below the usual one (1e-5 m a day).
Total angular momentum is kept to rounding, energy oscillates without drift.  Not for close encounters, where the fixed
step is too long: the caller falls back where bodies come close or part.  Spins are momenta here, l = I w / (G M1 M2) in
the body frame.
"""

from __future__ import annotations

import math
from functools import cache
from types import ModuleType

import numpy as np

from .._jit import by_model, written_module
from ..gravity.models import MODELS
from ..gravity.multipoles import component_list
from ..gravity.tape import Tape, Term, text_of
from ..motion.equations import pull_terms
from ..motion.layout import (
    ATTITUDE1,
    ATTITUDE2,
    GM,
    INVERSE,
    LANES,
    PER_INERTIA1,
    PER_INERTIA2,
    POSITION,
    RATE1,
    RATE2,
    ROWS,
    SIZE,
    SPLIT_CONSTANTS,
    SPLIT_PER_INERTIA1,
    SPLIT_PER_INERTIA2,
    VELOCITY,
)
from .lanes import in_lanes
from .tableau_splitting import DRIFTS, KICKS

MOST_TURN, MOST_HALF_SPIN, MOST_TWIST = 0.3, 0.4, 0.2
"""Radians for which the series below hold to rounding: of the orbit and of half a spin in a drift, of half the turn
about a body's x axis in a kick.  The caller keeps bodies apart far enough for the first; the others follow from
STEP_SPIN.
"""


def work_size(number: int, lanes: int = LANES) -> int:
    """Length of the work array: the columns of all lanes."""
    model = MODELS[number]
    return (ROWS["c"] + 2 * len(component_list(model.degree, model.even))) * lanes


def distance(y: np.ndarray) -> np.ndarray:
    """Length of the first three rows, summed in one order however many columns there are."""
    return np.sqrt(y[0] * y[0] + y[1] * y[1] + y[2] * y[2])


def fill(columns: np.ndarray, y: np.ndarray, constants: np.ndarray, coefficients: np.ndarray) -> None:
    """Set columns (rows, ...) from states (20, ...) as State.vector, motion constants (19, ...) and coefficients."""
    columns[:SIZE] = y
    columns[RATE1] /= constants[PER_INERTIA1]
    columns[RATE2] /= constants[PER_INERTIA2]
    columns[SIZE] = constants[GM]
    columns[SPLIT_PER_INERTIA1], columns[SPLIT_PER_INERTIA2] = constants[PER_INERTIA1], constants[PER_INERTIA2]
    columns[INVERSE] = 1.0 / distance(y)
    columns[ROWS["c"] : ROWS["c"] + len(coefficients)] = coefficients


def states_of(columns: np.ndarray) -> np.ndarray:
    """(20, ...) as State.vector, from columns."""
    return to_rates(columns[:SIZE].copy(), columns)


def to_rates(y: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """The states y (20, ...) themselves, their momenta made rates by the constants of the columns (rows, ...)."""
    y[RATE1] *= columns[SPLIT_PER_INERTIA1]
    y[RATE2] *= columns[SPLIT_PER_INERTIA2]
    return y


def _series(z, terms: list[float]):
    """terms[0] + terms[1] z + .."""
    total = terms[-1]
    for term in reversed(terms[:-1]):
        total = term + z * total
    return total


def _factorials(first: int, most: float) -> list[float]:
    """(-1)^k / (first + 2 k)!, as many as the series in the square of an angle up to `most` needs to rounding."""
    out: list[float] = []
    value, n = 1.0, 0
    while True:
        n += 1
        value *= n
        if n >= first and (n - first) % 2 == 0:
            k = (n - first) // 2
            if k and most ** (2 * k) / value * math.factorial(first) < 1e-17:
                return out
            out.append((-1.0) ** k / value)


def kepler_terms(tape: Tape, r: list, v: list, gm, u, h) -> tuple[list, list, Term]:
    """r, v and 1/|r| after a time h on the Kepler orbit, by the universal variable (Danby 1992, Fundamentals of
    Celestial Mechanics, sec. 6.9), from u = 1/|r| to a few digits less than all.

    Series for turns below MOST_TURN; one step of Halley's method from a third-order guess, one of Newton's with the
    functions moved by their Taylor series.  The only division is that of Halley's step.
    """
    square = r[0] * r[0] + r[1] * r[1] + r[2] * r[2]
    u = u * (1.5 - 0.5 * square * u * u)
    r0 = square * u
    eta = r[0] * v[0] + r[1] * v[1] + r[2] * v[2]
    beta = 2.0 * gm * u - (v[0] * v[0] + v[1] * v[1] + v[2] * v[2])
    zeta = gm - beta * r0
    first = h * u
    turning = eta * u * first
    s = first * (1.0 - 0.5 * turning + first * first * u * (0.5 * eta * eta * u - (1.0 / 6.0) * zeta))
    square_s = s * s
    z = beta * square_s
    g2, g3 = square_s * _series(z, _factorials(2, MOST_TURN)), square_s * s * _series(z, _factorials(3, MOST_TURN))
    g1, g0 = s - beta * g3, 1.0 - beta * g2
    slope = r0 + eta * g1 + zeta * g2
    inverse = tape.reciprocal(slope)
    d = (h - (r0 * s + eta * g2 + zeta * g3)) * inverse
    d = d + 0.5 * d * d * ((eta * g0 + zeta * g1) * -inverse)
    sixth = (1.0 / 6.0) * d
    g3, g2 = g3 + d * (g2 + d * (0.5 * g1 + sixth * g0)), g2 + d * (g1 + d * (0.5 * g0 - sixth * (beta * g1)))
    s = s + d
    g1, g0 = s - beta * g3, 1.0 - beta * g2
    d = (h - (r0 * s + eta * g2 + zeta * g3)) * inverse
    g3, g2, g1 = g3 + d * g2, g2 + d * g1, g1 + d * g0
    distance = r0 + eta * g1 + zeta * g2
    for _ in range(2):
        inverse = inverse * (2.0 - distance * inverse)
    f, g = gm * g2 * u, h - gm * g3
    fd, gd = -gm * g1 * u * inverse, gm * g2 * inverse
    moved = [r[i] - f * r[i] + g * v[i] for i in range(3)]
    return moved, [v[i] + fd * r[i] - gd * v[i] for i in range(3)], inverse


def _sine_cosine(x, most: float):
    """Of an angle up to `most`, to rounding."""
    z = x * x
    return x * _series(z, _factorials(1, most)), 1.0 - z * _series(z, _factorials(2, most))


def top_terms(q: list, l: list, e: list, h) -> tuple[list, list]:
    """A symmetric top (moments 1/e[1], 1/e[1], 1/e[2]) turning freely.

    About l by h e1 |l|, then about its own axis by h (e2 - e1) l_z.
    """
    t = 0.5 * h * e[1]
    z = t * t * (l[0] * l[0] + l[1] * l[1] + l[2] * l[2])
    s, c = t * _series(z, _factorials(1, MOST_HALF_SPIN)), 1.0 - z * _series(z, _factorials(2, MOST_HALF_SPIN))
    x, y, w = s * l[0], s * l[1], s * l[2]
    sz, cz = _sine_cosine(0.5 * h * (e[2] - e[1]) * l[2], MOST_HALF_SPIN)
    turn = [c * cz - w * sz, x * cz + y * sz, y * cz - x * sz, w * cz + c * sz]
    double, rest = 2.0 * sz * cz, 1.0 - 2.0 * sz * sz
    return _product(q, turn), [rest * l[0] + double * l[1], rest * l[1] - double * l[0], l[2]]


def asymmetry_terms(q: list, l: list, e: list, h) -> tuple[list, list]:
    """What (e0 - e1) l_x^2 / 2 does in a time h: a turn about the body's x axis."""
    s, c = _sine_cosine(0.5 * h * (e[0] - e[1]) * l[0], MOST_TWIST)
    double, rest = 2.0 * s * c, 1.0 - 2.0 * s * s
    return _product(q, [c, s, 0.0, 0.0]), [l[0], rest * l[1] + double * l[2], rest * l[2] - double * l[1]]


def _product(q: list, p: list) -> list:
    return [
        q[0] * p[0] - q[1] * p[1] - q[2] * p[2] - q[3] * p[3],
        q[0] * p[1] + q[1] * p[0] + q[2] * p[3] - q[3] * p[2],
        q[0] * p[2] - q[1] * p[3] + q[2] * p[0] + q[3] * p[1],
        q[0] * p[3] + q[1] * p[2] - q[2] * p[1] + q[3] * p[0],
    ]


def _parts(k: list) -> tuple:
    """G (M1 + M2), G M1 M2 / I of both bodies, 1/|r|."""
    return k[0], k[1:4], k[4:7], k[7]


def drift_terms(tape: Tape, y: list, k: list, h) -> list:
    """The first bracket for a time h, and 1/|r| after it."""
    gm, one, two, u = _parts(k)
    r, v, inverse = kepler_terms(tape, y[POSITION], y[VELOCITY], gm, u, h)
    q, l = top_terms(y[ATTITUDE1], y[RATE1], one, h)
    p, m = top_terms(y[ATTITUDE2], y[RATE2], two, h)
    return [*r, *v, *q, *l, *p, *m, inverse]


def kick_terms(degree: int, even: bool, tape: Tape, y: list, k: list, h) -> list:
    """The second bracket for a time h: asymmetry for h/2, potential for h, asymmetry for h/2."""
    half, (gm, one, two, u) = 0.5 * h, _parts(k)
    r, v = y[POSITION], y[VELOCITY]
    q, l = asymmetry_terms(y[ATTITUDE1], y[RATE1], one, half)
    p, m = asymmetry_terms(y[ATTITUDE2], y[RATE2], two, half)
    pull, torques = pull_terms(degree, even, tape, r, q, p, u)
    v = [v[i] + h * gm * pull[i] for i in range(3)]
    l, m = [l[i] + h * torques[i] for i in range(3)], [m[i] + h * torques[3 + i] for i in range(3)]
    q, l = asymmetry_terms(q, l, one, half)
    p, m = asymmetry_terms(p, m, two, half)
    return [*r, *v, *q, *l, *p, *m]


def part(name: str, number: int) -> tuple[Tape, list]:
    """One part of the splitting, `drift` or `kick`, of a gravity model, as operations on a tape.

    From y0 .. y19, k0 .. k7, the time h and the coefficients c to the new state; after a drift also 1/|r|.
    """
    tape, model = Tape(), MODELS[number]
    y, k, (h,) = tape.array("y", range(SIZE)), tape.array("k", range(SPLIT_CONSTANTS)), tape.inputs("h")
    if name == "drift":
        return tape, drift_terms(tape, y, k, h)
    return tape, kick_terms(model.degree, model.even, tape, y, k, h)


def _kernel(name: str, number: int, lanes: int) -> str:
    """A loop over lanes that reads state, constants and coefficients, and writes the changed components."""
    tape, results = part(name, number)
    places = [*range(SIZE), INVERSE]
    writes = [
        f"w[{i * lanes} + l] = {text_of(v)}" for i, v in zip(places, results, strict=False) if text_of(v) != f"y{i}"
    ]
    lines = tape.body(results, in_lanes(ROWS, lanes)) + writes
    head = f"@kernel\ndef {name}(w, h):\n    called_not_copied()\n    wide_vectors()\n    for l in range({lanes}):\n"
    return head + "".join(f"        {line}\n" for line in lines)


_STEP = '''

@kernel
def step(w, h):
    """One step of length h in all lanes."""
{calls}'''


def source(number: int, lanes: int) -> str:
    """Text of the module with the kernels `drift` and `kick`, which move all lanes by a time h, and `step` of both."""
    text = f'"""Parts of the splitting, gravity model {number}: written by binarydyn.integrators.splitting."""\n\n'
    text += "import math\n\nfrom binarydyn._jit import called_not_copied, fma, kernel, wide_vectors\n"
    text += "".join("\n\n" + _kernel(name, number, lanes) for name in ("drift", "kick"))
    calls = [f"    drift(w, {a!r} * h)\n    kick(w, {b!r} * h)\n" for a, b in zip(DRIFTS, KICKS, strict=False)]
    return text + _STEP.format(calls="".join(calls) + f"    drift(w, {DRIFTS[-1]!r} * h)\n")


@cache
def module(number: int) -> ModuleType:
    """The kernels of a gravity model."""
    return written_module(f"splitting_{number}", lambda: source(number, LANES))


step = by_model(module, "step")
"""step(model, w, h): one step of length h in all lanes."""
