"""The same cases on a GPU, one thread each: the text of the kernel is written from the tapes that the processor's
come from.

Compiled by the driver's own compiler through CuPy (extra `gpu`) without contraction, so that a row has the bits that
lanes give.  Everything of a case stays in registers; only the outcomes and the last state are written.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

import numpy as np

from ..constants import DAY_S
from ..errors import ArgumentError
from ..gravity.tape import text_of
from ..integrators.splitting import part
from ..integrators.tableau_splitting import DRIFTS, KICKS
from ..motion.layout import INVERSE, SIZE
from .accumulate import KEPT, first_rows, measuring
from .cases import Cases, Outcomes, outcomes, turn_weights

THREADS = 128
_LAUNCH = 2**20
"""Cases in one launch: half a gigabyte of columns, and a screen's driver may be waiting."""

_KERNEL = """
__device__ __constant__ const double DRIFTS[{parts}] = {{{drifts}}};
__device__ __constant__ const double KICKS[{kicks_count}] = {{{kicks}}};

extern "C" __global__ void run(const double* __restrict__ given, double* __restrict__ out,
                               const double* __restrict__ weights, const int count, const int steps,
                               const double length)
{{
    const int i = blockIdx.x * blockDim.x + threadIdx.x;
    if (i >= count) return;
    const size_t n = count;
{reads}
    for (int step = 0; step < steps; ++step) {{
#pragma unroll 1
        for (int j = 0; j < {parts}; ++j) {{
            {{
                const double h = DRIFTS[j] * length;
{drift}
            }}
            if (j == {parts} - 1) break;
            {{
                const double h = KICKS[j] * length;
{kick}
            }}
        }}
        {{
            const double g = weights[step];
{measure}
        }}
    }}
{writes}
}}
"""


def _c(lines: list[str], indent: int) -> str:
    """Lines of a tape as C: every value a constant of its own."""
    text = []
    for line in lines:
        target, value = line.replace("math.sqrt", "sqrt").split(" = ", 1)
        value = re.sub(r"^(\S+) if (.+) else (\S+)$", r"(\2) ? \1 : \3", value)
        text.append(f"{' ' * indent}const double {target} = {value};")
    return "\n".join(text)


def _block(tape, results: list, names: list[str], indent: int) -> str:
    """The operations of a tape, then its results into the variables `names`."""
    changes = [
        f"{' ' * indent}{name} = {text_of(v)};" for name, v in zip(names, results, strict=True) if text_of(v) != name
    ]
    return "\n".join([_c(tape.body(results, {}), indent), *changes])


def source(number: int) -> str:
    """The kernel of a gravity model in CUDA C."""
    state, last = [f"y{i}" for i in range(SIZE)], f"k{INVERSE - SIZE}"
    kept, first = [f"m{i}" for i in range(KEPT)], first_rows(number)
    drift, kick, measure = part("drift", number), part("kick", number), measuring()
    changing = {*state, last, *kept}
    reads = [
        f"    {'' if name in changing else 'const '}double {name} = given[{first[array] + place} * n + i];"
        for name, (array, place) in (kick[0].places | measure[0].places).items()
    ]
    writes = [f"    out[{row} * n + i] = {name};" for row, name in enumerate(state + kept)]
    return _KERNEL.format(
        parts=len(DRIFTS),
        kicks_count=len(KICKS),
        drifts=", ".join(map(repr, DRIFTS)),
        kicks=", ".join(map(repr, KICKS)),
        reads="\n".join(reads),
        writes="\n".join(writes),
        drift=_block(*drift, [*state, last], 16),
        kick=_block(*kick, state, 16),
        measure=_block(*measure, kept, 12),
    )


def cupy():
    """The library; InputError, one sentence, where it or a GPU is missing."""
    try:
        import cupy as found

        if found.cuda.runtime.getDeviceCount() > 0:
            return found
        reason = "this machine has none"
    except ImportError:
        reason = "CuPy is not installed (pip install 'binarydyn[gpu]')"
    except Exception as error:  # the driver's own
        reason = " ".join(str(error).split())
    raise ArgumentError("backend", f"a GPU was asked for, but {reason}; choose the backend threads", "gpu")


def name() -> str:
    """Of the GPU; InputError where there is none."""
    return cupy().cuda.runtime.getDeviceProperties(0)["name"].decode()


@cache
def _kernel(number: int):
    return cupy().RawKernel(source(number), "run", options=("--fmad=false", "--std=c++17"))


def accumulated(
    given: Cases, days: float, steps: int | np.ndarray | None = None, timed: Callable[[float], None] | None = None
) -> Outcomes:
    """As cases.accumulated, on the GPU: the same bits.  Errors: InputError where there is none.

    `timed` is told how many seconds each launch of the kernel took, by the GPU's own clock.
    """
    cupy()
    last, h = np.empty_like(given.columns), np.empty(len(given))
    last[SIZE:-KEPT] = given.columns[SIZE:-KEPT]
    for count, places in given.paced(days, steps):
        h[places] = days * DAY_S / count
        for first in range(0, len(places), _LAUNCH):
            some = places[first : first + _LAUNCH]
            result = _launched(given.model, given.columns[:, some], days, count, timed)
            last[:SIZE, some], last[-KEPT:, some] = result[:SIZE], result[SIZE:]
    return outcomes(given, last, h)


def _launched(
    model: int, columns: np.ndarray, days: float, steps: int, timed: Callable[[float], None] | None
) -> np.ndarray:
    """Last states and what was kept, (27, n), of columns (rows, n) that all make so many steps."""
    library, count = cupy(), columns.shape[1]
    given, weights = library.asarray(np.ascontiguousarray(columns)), library.asarray(turn_weights(steps, days))
    out, blocks = library.empty((SIZE + KEPT, count)), (count + THREADS - 1) // THREADS
    begin, end = library.cuda.Event(), library.cuda.Event()
    begin.record()
    arguments = (given, out, weights, np.int32(count), np.int32(steps), float(days * DAY_S / steps))
    _kernel(model)((blocks,), (THREADS,), arguments)
    end.record()
    result = out.get()
    if timed:
        timed(library.cuda.get_elapsed_time(begin, end) * 1e-3)
    return result
