"""One step of Gauss's collocation of order 16 with compensated sums: what is left of its error is rounding, without
drift.

y_end = y + sum_i L_i with L_i = h b_i f(Y_i) and Y_i = y + sum_j mu_ij L_j, mu_ij = a_ij / b_j (Hairer, Lubich &
Wanner 2006, Geometric Numerical Integration, 2nd ed., sec. II.1.3).  Three things keep rounding from adding up in one
direction (Hairer, McLachlan & Razakarivony 2008, BIT 48, 231; Antonana, Makazaga & Murua 2017, Numer. Algorithms 76,
861, the latter from memory): mu_ij + mu_ji = 1 holds exactly in the stored numbers, so the method is symplectic and
symmetric whatever the rounding of b; the equations are iterated until they no longer improve; and y carries its own
rounding error along (Kahan 1965, CACM 8, 40), to which the gains are added exactly (Knuth's two-sum).

The eight stages are the eight lanes of lanes.py, so one call of its right-hand side evaluates all of them.
"""

from __future__ import annotations

import math
import re

import numba

from .._jit import kernel, written_module
from ..motion.layout import ARGUMENT, LANES, SIZE, SLOPE
from .lanes import rates as rates_lanes

WIDTH = SIZE * LANES
# The work array is that of lanes.py; in the places of the Runge-Kutta slopes stand, twenty numbers each: state, its
# rounding error, weights of the error norm; state at the end of a step and of a sample, both with theirs; ..
STATE, CARRY, WEIGHTS, END, SAMPLE = 0, SIZE, 2 * SIZE, 3 * SIZE, 5 * SIZE  # 140 of the 160 numbers there
# .. tables of 8 x 8, column by column: mu, the projection on Legendre's polynomials; rows of 8: weights b, nodes on
# -1 .. 1, largest changes; ..
MU = WIDTH
PROJECTION, B, NODES, CHANGES = MU + 64, MU + 128, MU + 136, MU + 144
# .. for each component its eight gains L, and the Legendre coefficients of the slopes of the last step.
GAINS, LEGENDRE = 3 * WIDTH, 4 * WIDTH
_ARGUMENTS, _SLOPES = ARGUMENT * LANES, SLOPE * LANES
NUDGE = 2.0**-44
"""Relative size of the push that the stages get once they rest, to come to rest again from the other side in every
other step.  Rounded, the equations have a few neighbouring solutions, and the first that is met lies on the side from
which it is approached, always the same."""
MOST_ITERATIONS = 50
SETTLED = 1e-12
"""Changes above this, relative to the sizes, are not rounding: the iteration still converges."""


def _times(matrix: int, a: int, i: int) -> str:
    """Row l of a table of 8 x 8 times the eight stages of component i."""
    text = f"w[{matrix} + l] * a{a + LANES * i}"
    for j in range(1, LANES):
        text = f"fma(w[{matrix + LANES * j} + l], a{a + LANES * i + j}, {text})"
    return text


def _over_stages(name: str, meaning: str, lines: list[str], after: str = "", arguments: str = "w") -> str:
    """Text of a kernel whose one loop runs over the stages: that is what becomes vectors.

    Numbers `a17` that all stages share are read before the loop, or the compiler would fear that the loop writes them.
    """
    shared = sorted({int(n) for line in lines for n in re.findall(r"\ba(\d+)\b", line)})
    head = f'\n\n@kernel\ndef {name}({arguments}):\n    """{meaning}"""\n    called_not_copied()\n    wide_vectors()\n'
    head += "".join(f"    a{n} = w[{n}]\n" for n in shared)
    return head + f"    for l in range({LANES}):\n" + "".join(f"        {line}\n" for line in lines) + after


_LARGEST = f"""    worst = 0.0
    for l in range({LANES}):
        worst = worst if w[{CHANGES} + l] <= worst else w[{CHANGES} + l]
    return worst
"""


def source() -> str:
    """Text of the kernels whose innermost loop runs over the stages: `guess`, `arguments`, `gains`, `expand`."""
    text = '"""Loops over the stages of Gauss\'s collocation: written by binarydyn.integrators.gauss."""\n\n'
    text += "from binarydyn._jit import called_not_copied, fma, kernel, wide_vectors\n"
    lines = [f"x = 2.0 * first - 1.0 + length * (1.0 + w[{NODES} + l])", "p0, p1 = 1.0, x"]
    for m in range(1, LANES - 1):
        lines.append(f"p{m + 1} = {(2 * m + 1) / (m + 1)!r} * x * p{m} - {m / (m + 1)!r} * p{m - 1}")
    for i in range(SIZE):
        row = f"a{LEGENDRE + LANES * i}"
        for m in range(1, LANES):
            row = f"fma(p{m}, a{LEGENDRE + LANES * i + m}, {row})"
        lines.append(f"w[{_SLOPES + LANES * i} + l] = {row}")
    meaning = "Slopes for a step from the fraction `first` of the last one over `length` times it, from its polynomial."
    text += _over_stages("guess", meaning, lines, arguments="w, first, length")
    lines = [
        f"w[{_ARGUMENTS + LANES * i} + l] = a{STATE + i} + (a{CARRY + i} + {_times(MU, GAINS, i)})" for i in range(SIZE)
    ]
    text += _over_stages("arguments", "The stages' states from their gains.", lines)
    lines = [f"hb = h * w[{B} + l]", "most = 0.0"]
    for i in range(SIZE):
        lines += [
            f"new = hb * w[{_SLOPES + LANES * i} + l]",
            f"change = abs(new - w[{GAINS + LANES * i} + l]) * a{WEIGHTS + i}",
            f"w[{GAINS + LANES * i} + l] = new",
            "most = most if change <= most else change",
        ]
    lines.append(f"w[{CHANGES} + l] = most")
    meaning = "The stages' gains from their slopes; returns the largest change, relative to the sizes, or nan."
    text += _over_stages("gains", meaning, lines, _LARGEST, "w, h")
    lines = [f"w[{LEGENDRE + LANES * i} + l] = {_times(PROJECTION, _SLOPES, i)}" for i in range(SIZE)]
    return text + _over_stages("expand", "The slopes in Legendre's polynomials, one in each lane.", lines)


_loops = written_module("gauss_loops", source)
guess, arguments, gains, expand = _loops.guess, _loops.arguments, _loops.gains, _loops.expand


@kernel
def guess_from_start(model, w):
    """Slopes for a first step: that of the state, in all stages."""
    model = numba.literally(model)
    for i in range(SIZE):
        for l in range(LANES):
            w[_ARGUMENTS + LANES * i + l] = w[STATE + i]
    rates_lanes(model, w)


@kernel
def solve(model, w, h, side):
    """Find the stages of a step of length h from the guess of their slopes, at last from one side (1.0 or -1.0; 0.0:
    whichever).

    Returns the number of iterations, negative if they did not converge.
    """
    model = numba.literally(model)
    gains(w, h)
    before, nudged = math.inf, side == 0.0
    for count in range(1, MOST_ITERATIONS + 1):
        arguments(w)
        rates_lanes(model, w)
        change = gains(w, h)
        if change == 0.0 or (change < SETTLED and change >= before):
            if nudged:
                return count
            for i in range(WIDTH):
                w[GAINS + i] *= 1.0 + side * NUDGE
            before, nudged = math.inf, True
        elif change < 1e30:
            before = change
        else:
            return -count
    return -MOST_ITERATIONS


@kernel
def total(w, to):
    """State at the end of the step and its rounding error, to w[to : to + 40]."""
    for i in range(SIZE):
        s, e = w[STATE + i], w[CARRY + i]
        for l in range(LANES):
            g = w[GAINS + LANES * i + l]
            t = s + g
            z = t - s
            e += (s - (t - z)) + (g - z)
            s = t
        t = s + e
        w[to + i], w[to + SIZE + i] = t, e - (t - s)


@kernel
def last_term(w, h):
    """Expand the slopes in Legendre's polynomials; returns the largest last term, times h, relative to the sizes."""
    expand(w)
    worst = 0.0
    for i in range(SIZE):
        worst = max(worst, abs(h * w[LEGENDRE + LANES * i + LANES - 1]) * w[WEIGHTS + i])
    return worst
