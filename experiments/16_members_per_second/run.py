"""How many members a second does one core make, with what error, and what does the splitting gain over Runge-Kutta?

    python run.py [members] [--compare count]
    python run.py 1000000 --gpu

Whole members (start, impact, window) of the built-in system by `summary_rows`, where only the impact varies and where
the bodies do; their errors against the adaptive method; then cases from given states at equal accuracy.  Times are of
one thread, the fastest of three, in processor seconds; of Runge-Kutta the compiled loop alone.
"""

import argparse
import sys
import time
from collections import Counter
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from nominal_pair import DAYS, circumstances, fastest, members

from binarydyn.batch import gpu, summary_rows
from binarydyn.batch.cases import accumulated, cases
from binarydyn.batch.chaos import with_neighbours
from binarydyn.batch.inputs import Inputs, doubtful
from binarydyn.batch.prepared import prepared
from binarydyn.batch.starts import begun_together, repeated, starts_of
from binarydyn.batch.summary_columns import SummaryColumns
from binarydyn.dynamics import simulate_many
from binarydyn.impact import hits, impact_on
from binarydyn.integrators import batch, propagate
from binarydyn.observables import period
from binarydyn.observables.chaos import is_chaotic
from binarydyn.relaxed.start import start
from binarydyn.sampling import Sample
from binarydyn.sampling.members import cores
from binarydyn.scenario import Scenario, example, varied

ALONE = partial(accumulated, workers=1)
WITHIN_M, SHARE = 0.2, 0.9
_HEAD = "\n[sampling]\nseed = 11\n[sampling.quantities]\n"
IMPACT = (
    _HEAD
    + """
"momentum_transfer.beta" = {uniform = [1.0, 4.0]}
"impactor.mass_kg" = {normal = [480.0, 20.0]}
"impactor.aim_offset_m.0" = {normal = [0.0, 12.0]}
"impactor.aim_offset_m.1" = {normal = [0.0, 12.0]}
"""
)
BODIES = (
    _HEAD
    + """
"primary.semi_axes_m.0" = {uniform = [266.0, 280.0]}
"primary.semi_axes_m.1" = {uniform = [255.0, 266.0]}
"primary.semi_axes_m.2" = {uniform = [238.0, 255.0]}
"secondary.semi_axes_m.0" = {uniform = [65.5, 75.0]}
"secondary.semi_axes_m.1" = {uniform = [55.0, 65.5]}
"secondary.semi_axes_m.2" = {uniform = [44.0, 55.0]}
"secondary.density_kg_m3" = {normal = [3120.0, 200.0]}
"mutual_orbit.separation_m" = {normal = [821.0, 8.0]}
"primary.rotation_phase_deg" = {uniform = [-180.0, 180.0]}
"momentum_transfer.beta" = {uniform = [1.0, 4.0]}
"""
)


def drawn(text: str, kind: str, count: int) -> tuple[Scenario, Sample]:
    """The built-in system with these distributions, and a sample of them."""
    scenario = Scenario.from_text(example().text + text, "built-in")
    return scenario, Sample.of(scenario, kind, count)


def speed(text: str, count: int) -> dict[str, float]:
    """Members a second, and microseconds a member of each part."""
    scenario, design = drawn(text, "sobol", count)
    numbers = np.arange(count)
    summary_rows(scenario, design, numbers[:16], ALONE)
    whole = fastest(lambda: summary_rows(scenario, design, numbers, ALONE), 3)
    design.inputs(numbers)
    check = fastest(lambda: doubtful(Inputs.of(scenario, design, numbers)), 3)
    inputs = Inputs.of(scenario, design, numbers)
    begun = begun_together(scenario) if text is IMPACT else None

    def started():
        return repeated(begun, count) if begun else starts_of(inputs)

    start_s, starts = fastest(started, 3), started()
    hit = fastest(lambda: hits(inputs, starts.primary, starts.secondary, starts.y), 3)
    before = fastest(lambda: list(prepared(scenario, design, SummaryColumns.of(numbers))), 3)
    parts = {"inputs": check, "starts": start_s, "impacts": hit, "other": before - check - start_s - hit}
    parts["window after"] = whole - before
    return {"members/s": count / whole} | {name: 1e6 * seconds / count for name, seconds in parts.items()}


def errors(count: int = 200) -> list[tuple[float, float, float, float, float]]:
    """(finer, median, 90 %, largest error of the period in s of regular members, seconds) against 1e-13."""
    scenario, design = drawn(BODIES, "random", count)
    numbers, systems = np.arange(count), []
    for k in range(count):
        member = varied(scenario, design.member(k))
        system = start(member).system
        impact = impact_on(system, member)
        systems.append(replace(impact.system.with_state(impact.state), tolerance=1e-13))
    exact = np.array([period(run).value_s for run in simulate_many(systems, DAYS)])
    beside = summary_rows(scenario, design, numbers, chaos=True)
    regular = beside.numbers["chaotic_after"] == 0
    rows = []
    for refine in (0.75, 1.0, 1.5, 2.0, 3.0, 4.0):
        begin = time.process_time()
        found = summary_rows(scenario, design, numbers, ALONE, refine).numbers["period_after_h"] * 3600.0
        seconds, off = time.process_time() - begin, np.abs(found - exact)[regular]
        rows.append((refine, np.median(off), np.quantile(off, 0.9), off.max(), seconds))
    print(f"{regular.sum()} of {count} members are regular")
    return rows


def compared(count: int) -> None:
    """Cases a second of both methods, each at the coarsest setting that keeps SHARE of the regular within WITHIN_M."""
    systems = members(count)
    given = cases(systems)
    found, beside = with_neighbours(given, DAYS)
    regular = ~is_chaotic(beside.growth, DAYS) & (found.long_axis_misalignment_max_deg < 60.0)
    exact = ends(simulate_many([replace(system, tolerance=1e-14) for system in systems], DAYS))
    usual, rates = int(given.steps(DAYS).max()), {}
    for refine in np.arange(0.70, 1.31, 0.05):
        steps = int(np.ceil(refine * usual))
        off = np.linalg.norm(accumulated(given, DAYS, steps).state[:3].T - exact, axis=1)[regular]
        if np.quantile(off, SHARE) < WITHIN_M:
            rates["splitting"] = count / fastest(lambda n=steps: accumulated(given, DAYS, n, 1), 3)
            print(f"splitting: {steps} steps ({refine:.2f} of the usual), {np.quantile(off, SHARE):.3f} m")
            break
    for tolerance in 10.0 ** np.arange(-5.0, -10.1, -0.125):
        asked = [replace(system, tolerance=tolerance) for system in systems]
        off = np.linalg.norm(ends(simulate_many(asked, DAYS, every_minutes=1440.0)) - exact, axis=1)[regular]
        if np.quantile(off, SHARE) < WITHIN_M:
            rates["rungekutta"] = count / min(loop_s(asked) for _ in range(3))
            print(f"Runge-Kutta 8(5,3): tolerance {tolerance:.1e}, {np.quantile(off, SHARE):.3f} m")
            break
    print(f"{regular.sum()} of {count} regular; cases a second and core: "
          + ", ".join(f"{name} {rate:.0f}" for name, rate in rates.items())
          + f"; ratio {rates['splitting'] / rates['rungekutta']:.2f}")  # fmt: skip


def loop_s(systems) -> float:
    """Processor seconds of the compiled loop alone, in lanes: without the making of trajectories."""
    runs = [propagate.start(system, DAYS, every_minutes=1440.0) for system in systems]
    begin = time.process_time()
    batch.integrate(runs, float(propagate.MAX_STEPS))
    return time.process_time() - begin


BLOCK = 2**17
"""Members in one block beside a GPU."""


def on_gpu(text: str, count: int) -> None:
    """All members in large blocks, starts by all cores, windows on the GPU; 1000 of them again in lanes."""
    scenario, design = drawn(text, "sobol", count)
    summary_rows(scenario, design, np.arange(8), gpu.accumulated)
    begin, kernel_s, statuses, first = time.perf_counter(), [], Counter(), None
    stepper = partial(gpu.accumulated, timed=kernel_s.append)
    for k in range(0, count, BLOCK):
        block = summary_rows(scenario, design, np.arange(k, min(k + BLOCK, count)), stepper, workers=cores())
        statuses.update(block.status.tolist())
        first = first or block
    whole = time.perf_counter() - begin
    some = np.arange(1000)
    lanes = summary_rows(scenario, design, some)
    differ = sum(int(np.sum(values.view(np.uint8) != first.numbers[name][some].view(np.uint8)))
                 for name, values in lanes.numbers.items())  # fmt: skip
    print(f"{whole:.1f} s for {count} members on a GPU and {cores()} cores, {sum(kernel_s):.2f} s of it in its kernel; "
          f"{dict(statuses)}; bytes of 1000 members that differ from lanes: {differ}")  # fmt: skip


def ends(runs) -> np.ndarray:
    """(n, 3) last positions."""
    return np.array([run.position_m[-1] for run in runs])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("members", nargs="?", type=int, default=2048)
    parser.add_argument("--compare", type=int, default=256, help="cases from given states")
    parser.add_argument("--gpu", action="store_true", help="only whole members on a GPU, in large blocks")
    given = parser.parse_args()
    print(circumstances())
    if given.gpu:
        for name, text in (("only the impact varies", IMPACT), ("the bodies vary", BODIES)):
            print(name, end=": ", flush=True)
            on_gpu(text, given.members)
        return
    for name, text in (("only the impact varies", IMPACT), ("the bodies vary", BODIES)):
        row = speed(text, given.members)
        print(f"{name}: {row.pop('members/s'):.0f} members/s and core; microseconds a member: "
              + ", ".join(f"{part} {value:.1f}" for part, value in row.items()))  # fmt: skip
    print("finer, error of the period in s: median, 90 %, largest; seconds for all")
    for row in errors():
        print("  {:.2f}  {:.1e}  {:.1e}  {:.1e}  {:.2f}".format(*row))
    compared(given.compare)


if __name__ == "__main__":
    main()
