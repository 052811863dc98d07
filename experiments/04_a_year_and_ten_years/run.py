"""How good are a year and ten years?  Along-track error of each integrator against an 80-bit run, energy error of the
one with compensated sums, and that of a pair of points over a thousand years.

Needs the extra `bench` (heyoka).  Prints a table and saves ten_years.png and table.md beside this file; two and a half
minutes on two cores.  With a number: so many of the twelve pairs of points for a thousand years, 35 s of a core each.
"""

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

sys.path.insert(0, str(Path(__file__).parents[1]))
from extended import LONG, reference, walk
from nominal_pair import circumstances, nominal

from binarydyn.bodies import Ellipsoid
from binarydyn.constants import G
from binarydyn.dynamics import State, System, simulate
from binarydyn.integrators.step_rules import steps_of

YEAR, TEN_YEARS, CHECKPOINTS = 365.25, 3652.5, 500
CENTURY = 36525.0
WALKERS, LONG_WALKERS = 12, int(sys.argv[1]) if len(sys.argv) > 1 else 2
METHODS = (
    ("rungekutta, 1e-9", "rungekutta", 1e-9),
    ("rungekutta, 1e-12", "rungekutta", 1e-12),
    ("rungekutta, 1e-14", "rungekutta", 1e-14),
    ("splitting", "splitting", 1e-12),
    ("gauss", "gauss", 1e-12),
)


def checkpoints() -> np.ndarray:
    """Seconds, with the start."""
    return TEN_YEARS * 86400.0 / CHECKPOINTS * np.arange(CHECKPOINTS + 1)


def run_of(name: str, tolerance: float):
    """States at the checkpoints (n, 20), and seconds."""
    system = replace(nominal(tolerance), integrator=name)
    spacing = TEN_YEARS * 1440.0 / CHECKPOINTS
    per = int(steps_of(system.state.vector, system.gm_m3_s2, spacing * 60.0, np.ceil)) if name == "splitting" else 1
    simulate(system, 1.0, every_minutes=spacing / per)  # compiled
    begin = time.process_time()
    run = simulate(system, TEN_YEARS, every_minutes=spacing / per)
    seconds = time.process_time() - begin
    assert run.status == "completed" and np.allclose(run.time_s[::per], checkpoints(), atol=1e-6)
    return run.y[::per], seconds


def along_track_m(y: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Component of the difference in position along the velocity without its radial part."""
    r, v = y[:, :3], y[:, 3:6]
    radial = r / np.linalg.norm(r, axis=1, keepdims=True)
    track = v - np.sum(v * radial, axis=1, keepdims=True) * radial
    track /= np.linalg.norm(track, axis=1, keepdims=True)
    return np.sum((y[:, :3].astype(LONG) - truth) * track, axis=1).astype(float)


def exponent(days: np.ndarray, size: np.ndarray, first: float) -> float:
    """Of a power law through what lies after `first` days, each octave with the same weight."""
    used = (days >= first) & (size > 0.0)
    return float(np.polyfit(np.log(days[used]), np.log(size[used]), 1, w=days[used] ** -0.5)[0])


def ten_years_of_the_pair(seed: int):
    """Days and energy errors of the compensated method from a start a hair apart: other roundings, the same motion."""
    system = replace(nominal(), integrator="gauss")
    state = system.state
    apart = replace(state, position_m=state.position_m * (1.0 + 1e-12 * seed))
    return walk(system.with_state(apart), TEN_YEARS, CHECKPOINTS)


def points(seed: int) -> System:
    """Two spheres, 1180 m apart, eccentricity 0.05, in a random plane."""
    one, two = Ellipsoid((350.0,) * 3, 2300.0), Ellipsoid((80.0,) * 3, 2300.0)
    gm, q = G * (one.mass_kg + two.mass_kg), 1180.0 * 0.95
    turn, spin = Rotation.random(random_state=seed).as_matrix(), np.array([0.0, 0.0, 1e-6])
    state = State(
        turn @ [q, 0.0, 0.0], turn @ [0.0, np.sqrt(gm * 1.05 / q), 0.0], np.eye(4)[0], spin, np.eye(4)[0], spin
    )
    return System(one, two, state, 2, 1e-12, "gauss")


def centuries_of_points(seed: int):
    """Days and energy errors of a pair of points: a thousand years for the first seeds, a century for the others."""
    return walk(points(seed), (10.0 if seed < LONG_WALKERS else 1.0) * CENTURY, 2 * CHECKPOINTS)


def clipped(walks, days: float):
    """Their first days."""
    return [(t[t <= days * 1.001], e[t <= days * 1.001]) for t, e in walks]


def root_mean_square(walks) -> tuple[np.ndarray, np.ndarray]:
    """Over walkers, at the days of the first one."""
    days = walks[0][0]
    return days, np.sqrt(np.mean([np.interp(days, *walk) ** 2 for walk in walks], axis=0))


def main() -> None:
    begin = time.time()
    for system in (points(0), replace(nominal(), integrator="gauss")):
        simulate(system, 1.0)  # compiled once, for both processes
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        truth = pool.submit(reference, nominal(), checkpoints())
        long = [pool.submit(centuries_of_points, seed) for seed in range(WALKERS)]
        pair = [pool.submit(ten_years_of_the_pair, seed) for seed in range(WALKERS)]
        runs = {label: run_of(name, tolerance) for label, name, tolerance in METHODS}
        long, pair, truth = [f.result() for f in long], [f.result() for f in pair], truth.result()
    days = checkpoints() / 86400.0
    errors = {label: np.abs(along_track_m(y, truth)) for label, (y, _) in runs.items()}
    text = table(days, errors, {label: seconds for label, (_, seconds) in runs.items()}, long, pair)
    text += f"\n{circumstances()}; everything in {time.time() - begin:.0f} s.\n"
    print(text)
    Path(__file__).with_name("table.md").write_text(text)
    figure(days, errors, long, pair)


def table(days, errors, seconds, long, pair) -> str:
    lines = [
        "| method | error after 1 year, m | after 10 years, m | exponent | seconds for 10 years |",
        "|---|---|---|---|---|",
    ]
    for label, error in errors.items():
        largest = [error[days <= limit].max() for limit in (YEAR, TEN_YEARS)]
        p = exponent(days[1:], np.maximum.accumulate(error)[1:], 100.0)
        lines.append(f"| {label} | {largest[0]:.1e} | {largest[1]:.1e} | {p:.2f} | {seconds[label]:.2f} |")
    lines += ["", "Energy of gauss, root mean square of walkers, in units of G M1 M2 / 2a:", ""]
    lines += ["| pair | walkers | after | error | exponent |", "|---|---|---|---|---|"]
    for what, walks, unit, name in (
        ("nominal", pair, TEN_YEARS, "10 years"),
        ("points", long, CENTURY, "100 years"),
        ("points", long[:LONG_WALKERS], 10.0 * CENTURY, "1000 years"),
    ):
        t, size = root_mean_square(clipped(walks, unit))
        lines.append(
            f"| {what} | {len(walks)} | {name} | {size[-1]:.1e} | {exponent(t[1:], size[1:], unit / 100.0):.2f} |"
        )
    return "\n".join(lines) + "\n"


def figure(days, errors, long, pair) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    for label, error in errors.items():
        left.loglog(days[1:] / YEAR, np.maximum.accumulate(error)[1:], label=label, linewidth=1.2)
    left.set_xlabel("years")
    left.set_ylabel("largest along-track error so far, m")
    left.legend(frameon=False, fontsize=8)
    for walks, color, label in ((pair, "C4", "nominal pair"), (long, "C0", "points")):
        for t, e in walks:
            right.loglog(t[1:] / YEAR, np.abs(e[1:]), color=color, alpha=0.15, linewidth=0.5)
        t, size = root_mean_square(clipped(walks, min(t[-1] for t, _ in walks)))
        right.loglog(t[1:] / YEAR, size[1:], color=color, label=f"{label}, root mean square of {len(walks)}")
    t, size = root_mean_square(long[:LONG_WALKERS])
    right.loglog(t[1:] / YEAR, size[1:], color="C0", linestyle="--", label=f"points, of {LONG_WALKERS}, to 1000 years")
    right.loglog(t[1:] / YEAR, 1e-15 * np.sqrt(t[1:] / YEAR), "k:", linewidth=0.8, label="1e-15 sqrt(years)")
    right.set_ylim(1e-17, 1e-12)
    right.set_xlabel("years")
    right.set_ylabel("energy error of gauss, G M1 M2 / 2a")
    right.legend(frameon=False, fontsize=8)
    figure.savefig(Path(__file__).with_name("ten_years.png"), dpi=130)


if __name__ == "__main__":
    main()
