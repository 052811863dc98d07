"""How fast at which accuracy?  Own integrators against general libraries on the same equations, 60 days, one thread,
one process.

Needs the extra `bench` (heyoka, scikit-sundae).  Prints a table and saves work_precision.png; about ten minutes on
one core.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

from binarydyn._jit import written_module
from binarydyn.bodies import Ellipsoid
from binarydyn.dynamics import State, System, batch, motion, propagate, split_runs

DAYS, CHECKPOINTS = 60.0, 10
MEMBERS = 32
DEGREE = int(sys.argv[1]) if len(sys.argv) > 1 else 4
MODEL = DEGREE + 100

SLOPE = '''"""The right-hand side of a model as a function of an array."""

from numba import int64

from binarydyn._jit import kernel
from binarydyn_written.motion_{number} import rates


@kernel
def slope(y, w, c, k):
    w[:20] = y
    rates(w, int64(0), int64(20), c, k)
    return w[20:40].copy()
'''


def nominal(tolerance: float = 1e-9, random=None) -> System:
    """The pair of experiment 01, or one with 3 % scatter in axes, densities and push."""
    f = np.ones(8) if random is None else 1.0 + 0.03 * random.standard_normal(8)
    primary = Ellipsoid(tuple(sorted(np.array([400.0, 380.0, 310.0]) * f[:3], reverse=True)), 2300.0 * f[3])
    secondary = Ellipsoid(tuple(sorted(np.array([90.0, 75.0, 60.0]) * f[4:7], reverse=True)), 2300.0 * f[7])
    n = 1.01 * np.sqrt(6.67430e-11 * (primary.mass_kg + secondary.mass_kg) / 1180.0**3)
    tilt = np.radians(1.0)
    state = State(
        np.array([1180.0, 0.0, 0.0]),
        np.array([0.0, 1180.0 * n - 3e-3, 0.0]),
        np.array([1.0, 0.0, 0.0, 0.0]),
        np.array([0.0, 0.0, 2.0 * np.pi / (2.4 * 3600.0)]),
        np.array([np.cos(tilt), *(np.sin(tilt) * np.sqrt([0.5, 0.5, 0.0]))]),
        np.array([0.0, 0.0, n]),
    )
    return System(primary, secondary, state, DEGREE, tolerance)


def checkpoints() -> np.ndarray:
    return np.linspace(0.0, DAYS * 86400.0, CHECKPOINTS + 1)[1:]


def worst_m(positions, reference) -> float:
    """Largest difference at the checkpoints, nearly all of it along the track."""
    return float(np.max(np.linalg.norm(np.asarray(positions) - reference, axis=-1)))


def own(tolerance: float):
    run = propagate.start(nominal(tolerance), DAYS, sample_minutes=DAYS * 1440.0 / CHECKPOINTS)
    begin = time.perf_counter()
    propagate.advance(run, block_steps=10**9)
    return time.perf_counter() - begin, run.samples.reshape(-1, 20)[1 : CHECKPOINTS + 1, :3].copy()


def own_batch(tolerance: float):
    """Seconds per case of MEMBERS members with their own shapes, densities and pushes.

    Positions of the first, the nominal one.
    """
    random = np.random.default_rng(1)
    systems = [nominal(tolerance)] + [nominal(tolerance, random) for _ in range(MEMBERS - 1)]
    runs = [propagate.start(system, DAYS, sample_minutes=DAYS * 1440.0 / CHECKPOINTS) for system in systems]
    begin = time.perf_counter()
    batch._integrate(runs, MODEL, 1e12, 10**9)
    seconds = (time.perf_counter() - begin) / MEMBERS
    return seconds, runs[0].samples.reshape(-1, 20)[1 : CHECKPOINTS + 1, :3].copy()


def own_splitting(minutes: float):
    """The same with the splitting at a fixed step, which divides the spacing of the checkpoints."""
    random = np.random.default_rng(1)
    systems = [replace(nominal(), integrator="splitting")] + [nominal(1e-9, random) for _ in range(MEMBERS - 1)]
    per = int(np.ceil(DAYS * 1440.0 / CHECKPOINTS / minutes))
    runs = [propagate.start(system, DAYS, sample_minutes=DAYS * 1440.0 / CHECKPOINTS / per) for system in systems]
    begin = time.perf_counter()
    split_runs.integrate(runs)
    seconds = (time.perf_counter() - begin) / MEMBERS
    return seconds, runs[0].samples.reshape(-1, 20)[per : per * CHECKPOINTS + 1 : per, :3].copy()


def by_scipy(method: str, tolerance: float):
    system = nominal()
    constants, coefficients = system.parameters
    slope = written_module(f"experiment_slope_{MODEL}", lambda: SLOPE.format(number=MODEL)).slope
    work = np.zeros(40)
    slope(system.state.vector, work, coefficients, constants)
    sizes, times = propagate.scales(system, system.state), checkpoints()
    begin = time.perf_counter()
    result = solve_ivp(
        lambda t, y: slope(y, work, coefficients, constants), (0.0, times[-1]), system.state.vector, method, times,
        rtol=3e-14, atol=tolerance * sizes,
    )  # fmt: skip
    return time.perf_counter() - begin, result.y[:3].T


def by_cvode(tolerance: float):
    """SUNDIALS CVODE, Adams-Moulton, through scikit-sundae."""
    from sksundae.cvode import CVODE

    system = nominal()
    constants, coefficients = system.parameters
    slope = written_module(f"experiment_slope_{MODEL}", lambda: SLOPE.format(number=MODEL)).slope
    work, sizes = np.zeros(40), propagate.scales(system, system.state)

    def right(t, y, yp):
        yp[:] = slope(y, work, coefficients, constants)

    solver = CVODE(right, method="Adams", rtol=1e-14, atol=tolerance * sizes, max_num_steps=10**8)
    begin = time.perf_counter()
    result = solver.solve(np.concatenate([[0.0], checkpoints()]), system.state.vector)
    return time.perf_counter() - begin, result.y[1:, :3]


def equations():
    """The generated text of the right-hand side, run on heyoka's expressions.

    With parameters for what differs between members.
    """
    import heyoka

    model = motion.MODELS[MODEL]
    text = motion.source(model.degree, model.even)
    body = text[text.index("def rates") :].replace("    called_not_copied()\n", "")
    body = body.replace("    at, to = not_negative(at), not_negative(to)\n", "")

    class Root:
        sqrt = staticmethod(heyoka.sqrt)

    scope = {"math": Root, "fma": lambda a, b, c: a * b + c}
    exec(body, scope)
    names = [f"y{i}" for i in range(20)]
    variables = heyoka.make_vars(*names)
    constants, coefficients = nominal().parameters
    k = [heyoka.par[i] for i in range(13)]
    c = [heyoka.par[13 + i] for i in range(len(coefficients))]
    w = [*variables, *([0.0] * 20)]
    scope["rates"](w, 0, 20, c, k)
    return list(zip(variables, w[20:], strict=True))


def by_heyoka(system_of_equations, tolerance: float, cache={}):  # noqa: B006
    import heyoka

    system = nominal()
    constants, coefficients = system.parameters
    values = np.concatenate([constants[:13], coefficients])
    if tolerance not in cache:
        cache[tolerance] = heyoka.taylor_adaptive(
            system_of_equations, system.state.vector, tol=tolerance, pars=values, compact_mode=True
        )
    ta = cache[tolerance]
    ta.time, ta.state[:] = 0.0, system.state.vector
    begin = time.perf_counter()
    out = ta.propagate_grid(np.concatenate([[0.0], checkpoints()]))[-1]
    return time.perf_counter() - begin, out[1:, :3]


def by_heyoka_batch(system_of_equations, tolerance: float, cache={}):  # noqa: B006
    import heyoka

    random = np.random.default_rng(1)
    systems = [nominal()] + [nominal(1e-9, random) for _ in range(7)]
    states = np.array([system.state.vector for system in systems]).T
    values = np.array([np.concatenate([s.parameters[0][:13], s.parameters[1]]) for s in systems]).T
    if tolerance not in cache:
        cache[tolerance] = heyoka.taylor_adaptive_batch(
            system_of_equations,
            np.ascontiguousarray(states),
            tol=tolerance,
            pars=np.ascontiguousarray(values),
            compact_mode=True,
        )
    ta = cache[tolerance]
    ta.set_time(0.0)
    ta.state[:] = states
    grid = np.repeat(np.concatenate([[0.0], checkpoints()])[:, None], 8, axis=1)
    begin = time.perf_counter()
    out = ta.propagate_grid(grid)[-1]
    return (time.perf_counter() - begin) / 8, out[1:, :3, 0]


def table(name, run, settings, reference, repeats=3):
    rows = []
    for setting in settings:
        results = [run(setting) for _ in range(repeats)]
        seconds, positions = min(results, key=lambda r: r[0])
        rows.append((setting, worst_m(positions, reference), 1e3 * seconds))
        print(f"{name:28s} {setting:9.2e}  {rows[-1][1]:.3e} m  {rows[-1][2]:9.3f} ms", flush=True)
    return np.array(rows)


def milliseconds_at(rows, error_m: float) -> float:
    order = np.argsort(rows[:, 1])
    return float(np.exp(np.interp(np.log(error_m), np.log(rows[order, 1]), np.log(rows[order, 2]))))


def main() -> None:
    reference = own(1e-15)[1]
    own_batch(1e-6), own_splitting(60.0), by_scipy("DOP853", 1e-4)
    decades = 10.0 ** np.arange(-5.0, -12.5, -1.0)
    results = {
        "binarydyn": table("binarydyn", own, decades, reference, 5),
        "binarydyn, lanes": table("binarydyn, lanes", own_batch, decades[:5], reference, 5),
        "binarydyn, splitting": table("splitting, lanes", own_splitting, [90.0, 72.0, 60.0, 48.0, 40.0], reference, 5),
        "scipy DOP853": table("scipy DOP853", lambda tol: by_scipy("DOP853", tol), decades[1:6], reference, 2),
        "scipy LSODA": table("scipy LSODA", lambda tol: by_scipy("LSODA", tol), decades[2:6], reference, 2),
    }
    for name, run in (("SUNDIALS CVODE", by_cvode),):
        try:
            results[name] = table(name, run, decades[3:7], reference, 2)
        except Exception as error:
            print(f"{name}: {type(error).__name__}: {error}")
    try:
        text = equations()
        tolerances = [1e-7, 1e-9, 1e-12]
        results["heyoka"] = table("heyoka", lambda tol: by_heyoka(text, tol), tolerances, reference)
        results["heyoka, batch"] = table("heyoka, batch", lambda tol: by_heyoka_batch(text, tol), tolerances, reference)
    except Exception as error:
        print(f"heyoka: {type(error).__name__}: {error}")
    base = milliseconds_at(results["binarydyn"], 0.19)
    print(f"\ndegree {DEGREE}, at 0.19 m (nearest setting where none brackets it): ms per case, times binarydyn alone")
    for name, rows in results.items():
        at = milliseconds_at(rows, 0.19)
        print(f"{name:24s} {at:9.3f}  {at / base:8.2f}")
    figure(results)


def figure(results) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.3, 4.5), layout="constrained")
    ax = figure.add_subplot()
    for (name, rows), marker in zip(results.items(), "osD^vP*X", strict=False):
        ax.loglog(rows[:, 1], rows[:, 2], marker=marker, markersize=4, label=name, linewidth=1)
    ax.axvline(0.19, color="0.6", linewidth=0.8)
    ax.set_xlabel("largest error in position over 60 days, m")
    ax.set_ylabel("time per case, ms")
    ax.legend(frameon=False, fontsize=8)
    figure.savefig(Path(__file__).with_name(f"work_precision_{DEGREE}.png"), dpi=130)


if __name__ == "__main__":
    main()
