"""How fast is a 60-day run?  Own Runge-Kutta loop against scipy's DOP853 driving the same compiled right-hand side,
in one process.

Prints a table and saves work_precision.png beside this file; takes about a minute on one core.
"""

import sys
import time
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).parents[1]))
from nominal_pair import CHECKPOINTS, DAYS, fastest, nominal, right_hand_side

from binarydyn.integrators import propagate
from binarydyn.motion.equations import parameters
from binarydyn.motion.layout import EVALUATIONS

CHECKPOINT_MINUTES = DAYS * 1440.0 / CHECKPOINTS
REPEATS = 9


def own_run(tolerance: float):
    """(seconds of the compiled loop, evaluations, positions at the checkpoints)."""
    run = propagate.start(nominal(tolerance), DAYS, every_minutes=CHECKPOINT_MINUTES)
    begin = time.perf_counter()
    propagate.advance(run, block_steps=10**9)
    return (
        time.perf_counter() - begin,
        int(run.progress[EVALUATIONS]),
        run.samples.reshape(-1, 20)[1:-1, :3].copy(),
    )


def scipy_run(tolerance: float, slope):
    """The same with scipy's DOP853, absolute tolerances scaled as our own are."""
    system = nominal(tolerance)
    constants, coefficients = system.parameters
    work = np.zeros(40)
    times = np.linspace(0.0, DAYS * 86400.0, 11)
    sizes = propagate.scales(system, system.state)
    begin = time.perf_counter()
    result = solve_ivp(
        lambda t, y: slope(y, work, coefficients, constants),
        (0.0, times[-1]),
        system.state.vector,
        "DOP853",
        times[1:],
        rtol=1e-14 if tolerance < 1e-13 else 3e-14,
        atol=tolerance * sizes,
    )
    return time.perf_counter() - begin, result.nfev, result.y[:3].T


def along_track_error_m(positions, reference) -> float:
    """Largest difference at the checkpoints, nearly all of it along the track."""
    return float(np.max(np.linalg.norm(positions - reference, axis=1)))


def table(run, tolerances, reference) -> np.ndarray:
    """(rows, 4): tolerance, error m, milliseconds (fastest of REPEATS), ns per evaluation."""
    rows = []
    for tolerance in tolerances:
        results = [run(tolerance) for _ in range(REPEATS if run is own_run else 3)]
        seconds, evaluations, positions = min(results, key=lambda r: r[0])
        error = along_track_error_m(positions, reference)
        rows.append((tolerance, error, 1e3 * seconds, 1e9 * seconds / evaluations))
    return np.array(rows)


def milliseconds_at(rows: np.ndarray, error_m: float) -> float:
    """Time at a given error, on the straight line between neighbours in log-log."""
    order = np.argsort(rows[:, 1])
    return float(np.exp(np.interp(np.log(error_m), np.log(rows[order, 1]), np.log(rows[order, 2]))))


def right_hand_side_ns(number: int, degree: int, even: bool) -> float:
    """Nanoseconds of one evaluation alone, each waiting for the last."""
    pair = nominal(1e-9)
    constants, coefficients = parameters(pair.primary, pair.secondary, degree, even)
    work = np.zeros(40)
    work[:20] = pair.state.vector
    evaluate = right_hand_side(number).evaluate
    evaluate(work, 10, coefficients, constants)
    return 1e4 * fastest(lambda: evaluate(work, 100_000, coefficients, constants), REPEATS)


def main() -> None:
    for number, degree, even in ((102, 2, True), (2, 2, False), (104, 4, True), (4, 4, False)):
        kind = "ellipsoids" if even else "any bodies"
        print(f"right-hand side, degree {degree}, {kind}: {right_hand_side_ns(number, degree, even):.1f} ns")
    reference = own_run(1e-15)[2]
    slope = right_hand_side(104).slope
    scipy_run(1e-6, slope)
    own = table(own_run, 10.0 ** np.arange(-6.0, -13.5, -0.5), reference)
    other = table(lambda tolerance: scipy_run(tolerance, slope), 10.0 ** np.arange(-6.0, -12.5, -1.0), reference)
    for name, rows in (("own", own), ("scipy DOP853", other)):
        print(f"\n{name}: tolerance, error m, ms, ns per evaluation")
        for row in rows:
            print(f"  {row[0]:.1e}  {row[1]:.3e}  {row[2]:8.2f}  {row[3]:7.1f}")
    mine, theirs = milliseconds_at(own, 0.2), milliseconds_at(other, 0.2)
    print(f"\nat 0.2 m: own {mine:.2f} ms, scipy {theirs:.1f} ms, ratio {theirs / mine:.1f}")
    figure(own, other)


def figure(own, other) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(5.5, 4.0), layout="constrained")
    ax = figure.add_subplot()
    for rows, label, style in ((own, "binarydyn", "o-"), (other, "scipy DOP853, same right-hand side", "s--")):
        ax.loglog(rows[:, 1], rows[:, 2], style, label=label, markersize=4)
    ax.axvline(0.2, color="0.6", linewidth=0.8)
    ax.set_xlabel("largest error in position over 60 days, m")
    ax.set_ylabel("time of one run, ms")
    ax.legend(frameon=False)
    figure.savefig(Path(__file__).with_name("work_precision.png"), dpi=150)


if __name__ == "__main__":
    main()
