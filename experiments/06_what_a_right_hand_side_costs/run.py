"""What does a right-hand side cost?  Nanoseconds and share of one core's peak, alone and in eight lanes, degrees 2 to
8, for two ellipsoids and for any bodies; and how long each model takes to compile into an empty cache.

Prints the tables and writes table.md and cost.png beside this file.  With --quick: degrees 2 and 4, nothing written.
"""

import ast
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from nominal_pair import circumstances, fastest, generated, nominal, right_hand_side

import binarydyn
from binarydyn.gravity.models import MODELS, Model
from binarydyn.integrators import batch, lanes
from binarydyn.motion import equations
from binarydyn.motion.equations import parameters

QUICK = "--quick" in sys.argv
REPEATS = 7
CHAINS, ROUNDS = 12, 100

_PEAK = '''"""Fused multiply-adds in registers: twelve independent chains in each of eight lanes."""

from binarydyn._jit import called_not_copied, fma, kernel, wide_vectors


@kernel
def chains(w, a, b):
    called_not_copied()
    wide_vectors()
    for l in range({lanes}):
{reads}{lines}{writes}

@kernel
def repeat(w, a, b, count):
    for _ in range(count):
        chains(w, a, b)
'''
_IN_LANES = '''"""The right-hand side in lanes of model {number}, in a loop where each waits for the last."""

from binarydyn._jit import kernel, wide_vectors
from binarydyn_written.lanes_{number} import rates


@kernel
def evaluate(w, count):
    wide_vectors()
    for _ in range(count):
        rates(w)
        for i in range({width}):
            w[{argument} + i] += 1e-12 * w[{slope} + i]
'''
_COMPILE = """
import json, sys, time
sys.path.insert(0, {experiments!r})
from dataclasses import replace
from nominal_pair import nominal
from binarydyn.bodies import Ellipsoid, Inclusion, Layered
from binarydyn.dynamics import simulate, simulate_many
system = nominal(1e-9, {degree})
if not {even}:
    core = Inclusion.along_axes((100.0, 80.0, 60.0), 3500.0, (90.0, 60.0, 30.0))
    system = replace(system, primary=Layered(system.primary, (core,)))
found = {{}}
for name, run in (
    ("alone", lambda: simulate(system, 0.1)),
    ("lanes", lambda: simulate_many([system] * 8, 0.1)),
    ("splitting", lambda: simulate(replace(system, integrator="splitting"), 0.1)),
):
    begin = time.process_time()
    run()
    found[name] = time.process_time() - begin
print(json.dumps(found))
"""


@dataclass(frozen=True)
class Cost:
    """One model: peak of the core at the time, floating-point operations, ns alone and per member in lanes, seconds of
    the first run of each kind with an empty cache and with a filled one."""

    model: Model
    peak_gflops: float
    flops: int
    alone_ns: float
    lanes_ns: float
    cold_s: dict[str, float]
    cached_s: dict[str, float]


def flops(model: Model) -> int:
    """Floating-point operations of the generated text: a fused multiply-add is two; 1/sqrt is two; a sign is none."""
    total = 0
    for node in ast.walk(ast.parse(equations.source(model.degree, model.even))):
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name) and node.targets[0].id[0] == "t":
            if node.targets[0].id == "to":
                continue
            for part in ast.walk(node.value):
                if isinstance(part, ast.BinOp):
                    total += 1
                elif isinstance(part, ast.Call):
                    total += 2 if getattr(part.func, "id", "") == "fma" else 1
    return total


def peak_gflops() -> float:
    """Of one core: what straight-line fused multiply-adds in the widest vectors reach."""
    indent = " " * 8
    reads = "".join(f"{indent}x{i} = w[{8 * i} + l]\n" for i in range(CHAINS))
    lines = "".join(f"{indent}x{i} = fma(x{i}, a, b)\n" for i in range(CHAINS)) * ROUNDS
    writes = "".join(f"{indent}w[{8 * i} + l] = x{i}\n" for i in range(CHAINS))
    kernels = generated("peak", _PEAK.format(lanes=8, reads=reads, lines=lines, writes=writes))
    work, count = batch.aligned(8 * CHAINS), 2000
    kernels.repeat(work, 0.999, 1e-3, 1)
    seconds = fastest(lambda: kernels.repeat(work, 0.999, 1e-3, count), REPEATS)
    return 2.0 * 8 * CHAINS * ROUNDS * count / seconds * 1e-9


def alone_ns(model: Model) -> float:
    """Of one evaluation that waits for the last."""
    pair = nominal()
    constants, coefficients = parameters(pair.primary, pair.secondary, model.degree, model.even)
    work, count = np.zeros(40), 50_000
    work[:20] = pair.state.vector
    evaluate = right_hand_side(model.number).evaluate
    evaluate(work, 10, coefficients, constants)
    return 1e9 * fastest(lambda: evaluate(work, count, coefficients, constants), REPEATS) / count


def lanes_ns(model: Model) -> float:
    """Per member, eight side by side."""
    pair = nominal()
    numbers = np.concatenate(parameters(pair.primary, pair.secondary, model.degree, model.even))
    lanes.module(model.number)
    places = {"width": lanes.WIDTH, "argument": lanes.ARGUMENT * 8, "slope": lanes.SLOPE * 8}
    evaluate = generated("lanes", _IN_LANES.format(number=model.number, **places)).evaluate
    work, count = batch.aligned(lanes.work_size(model.number)), 20_000
    columns = work.reshape(-1, lanes.LANES)
    columns[lanes.ARGUMENT : lanes.ARGUMENT + 20] = pair.state.vector[:, None]
    columns[lanes.PARAMETERS : lanes.PARAMETERS + len(numbers)] = numbers[:, None]
    evaluate(work, 10)
    assert np.all(np.isfinite(columns[lanes.SLOPE : lanes.SLOPE + 20]))
    return 1e9 * fastest(lambda: evaluate(work, count), REPEATS) / count / lanes.LANES


def compile_s(model: Model) -> tuple[dict[str, float], dict[str, float]]:
    """Seconds of the first run of each kind in a new process: with an empty cache folder, and again with the filled."""
    text = _COMPILE.format(experiments=str(Path(__file__).parents[1]), degree=model.degree, even=model.even)
    with tempfile.TemporaryDirectory() as folder:
        environment = os.environ | {"NUMBA_CACHE_DIR": folder, "PYTHONPATH": str(Path(binarydyn.__file__).parents[1])}
        found = []
        for _ in range(2):
            ran = subprocess.run(
                [sys.executable, "-c", text], env=environment, check=True, stdout=subprocess.PIPE, text=True
            )
            found.append(json.loads(ran.stdout))
    return found[0], found[1]


def measured(model: Model) -> Cost:
    cost = Cost(model, peak_gflops(), flops(model), alone_ns(model), lanes_ns(model), *compile_s(model))
    print(cost, flush=True)
    return cost


def table(costs: list[Cost]) -> str:
    """Markdown."""
    text = "| degree | bodies | operations | alone, ns | of peak | in lanes, ns per member | of peak | times faster |\n"
    text += "|---|---|---|---|---|---|---|---|\n"
    for c in costs:
        kind = "ellipsoids" if c.model.even else "any"
        text += f"| {c.model.degree} | {kind} | {c.flops} "
        for ns in (c.alone_ns, c.lanes_ns):
            text += f"| {ns:.1f} | {100.0 * c.flops / ns / c.peak_gflops:.0f} % "
        text += f"| {c.alone_ns / c.lanes_ns:.1f} |\n"
    text += (
        "\n| first run, s | one run alone | eight in lanes | splitting | all, from the cache |\n|---|---|---|---|---|\n"
    )
    for c in costs:
        kind = "ellipsoids" if c.model.even else "any"
        cold = " | ".join(f"{c.cold_s[name]:.1f}" for name in ("alone", "lanes", "splitting"))
        text += f"| degree {c.model.degree}, {kind} | {cold} | {sum(c.cached_s.values()):.2f} |\n"
    return text


def main() -> None:
    head = f"Measured on {circumstances()} (load before the run); time of the processor, one thread."
    chosen = [m for m in MODELS.values() if not (QUICK and m.degree > 4)]
    costs = [measured(m) for m in sorted(chosen, key=lambda m: (m.degree, not m.even))]
    peaks = [cost.peak_gflops for cost in costs]
    text = (
        f"{head} Peak of the core, fused multiply-adds on eight lanes, measured beside each model: {min(peaks):.0f} to "
    )
    text += f"{max(peaks):.0f} GFLOP/s.\n\n{table(costs)}"
    print(text)
    if not QUICK:
        folder = Path(__file__).parent
        folder.joinpath("table.md").write_text(text)
        figure(costs, folder / "cost.png")


def figure(costs: list[Cost], path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.0, 4.0), layout="constrained")
    left, right = figure.subplots(1, 2)
    for even, kind, line in ((True, "ellipsoids", "-"), (False, "any bodies", "--")):
        chosen = [c for c in costs if c.model.even == even]
        degrees = [c.model.degree for c in chosen]
        left.semilogy(degrees, [c.alone_ns for c in chosen], f"o{line}", color="C0", label=f"{kind}, alone")
        left.semilogy(degrees, [c.lanes_ns for c in chosen], f"s{line}", color="C1", label=f"{kind}, eight in lanes")
        left.semilogy(
            degrees, [c.flops / c.peak_gflops for c in chosen], f"{line}", color="0.6", label=f"{kind}, at peak"
        )
        cold = [c.cold_s["alone"] for c in chosen], [c.cold_s["lanes"] for c in chosen]
        right.plot(degrees, cold[0], f"o{line}", color="C0", label=f"{kind}, one run alone")
        right.plot(degrees, cold[1], f"s{line}", color="C1", label=f"{kind}, eight in lanes")
    right.set_ylim(bottom=0.0)
    left.set_ylabel("right-hand side, ns per member")
    right.set_ylabel("compilation before the first run, s")
    for ax in (left, right):
        ax.set_xlabel("degree of gravity")
        ax.set_xticks(degrees)
        ax.legend(frameon=False, fontsize=7)
    figure.savefig(path, dpi=110)


if __name__ == "__main__":
    main()
