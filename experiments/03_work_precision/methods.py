"""The methods that are compared: each brings systems over the window and returns seconds per case and the states at
the checkpoints, (cases, CHECKPOINTS, 20).

All have the same equations, parameters read at run time, absolute tolerances scaled to the size of each component;
setting up (and compiling) is not timed, what a run itself costs is.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
from nominal_pair import CHECKPOINTS, DAYS, checkpoints, right_hand_side
from scipy.integrate import solve_ivp

from binarydyn.integrators import batch, propagate, split_runs
from binarydyn.motion import equations

SPACING_MINUTES = DAYS * 1440.0 / CHECKPOINTS


def number(system) -> int:
    """Of the gravity model of an ellipsoid pair."""
    return system.degree + 100


def _picked(run, per: int = 1) -> np.ndarray:
    """States at the checkpoints, of a run with `per` samples from one to the next."""
    return run.samples.reshape(-1, 20)[per : per * CHECKPOINTS + 1 : per].copy()


def alone(systems, tolerance: float):
    """Own Runge-Kutta method, one run after the other."""
    runs = [propagate.start(replace(s, tolerance=tolerance), DAYS, every_minutes=SPACING_MINUTES) for s in systems]
    begin = time.process_time()
    for run in runs:
        propagate.advance(run, block_steps=10**9)
    return (time.process_time() - begin) / len(runs), np.array([_picked(run) for run in runs])


def in_lanes(systems, tolerance: float):
    """Own Runge-Kutta method, eight side by side."""
    runs = [propagate.start(replace(s, tolerance=tolerance), DAYS, every_minutes=SPACING_MINUTES) for s in systems]
    begin = time.process_time()
    batch._integrate(runs, number(systems[0]), 1e12, 10**9)
    return (time.process_time() - begin) / len(runs), np.array([_picked(run) for run in runs])


def splitting(systems, minutes: float):
    """Own splitting, eight side by side, with a step of about so many minutes that divides the checkpoints' spacing."""
    per = int(np.ceil(SPACING_MINUTES / minutes))
    systems = [replace(s, integrator="splitting") for s in systems]
    runs = [propagate.start(s, DAYS, every_minutes=SPACING_MINUTES / per) for s in systems]
    begin = time.process_time()
    unfit = split_runs.integrate(runs)
    seconds = (time.process_time() - begin) / len(runs)
    assert not unfit, "the step is too long for these pairs"
    return seconds, np.array([_picked(run, per) for run in runs])


def _in_turn(run, systems):
    """Seconds per case and states of a function of one system."""
    results = [run(system) for system in systems]
    return sum(seconds for seconds, _ in results) / len(systems), np.array([states for _, states in results])


def by_scipy(method: str):
    """solve_ivp with the compiled right-hand side."""

    def one(system, tolerance: float):
        constants, coefficients = system.parameters
        slope, work = right_hand_side(number(system)).slope, np.zeros(40)
        begin = time.process_time()
        result = solve_ivp(
            lambda t, y: slope(y, work, coefficients, constants),
            (0.0, DAYS * 86400.0),
            system.state.vector,
            method,
            checkpoints(),
            rtol=3e-14,
            atol=tolerance * propagate.scales(system, system.state),
        )
        return time.process_time() - begin, result.y.T

    return lambda systems, tolerance: _in_turn(lambda system: one(system, tolerance), systems)


def by_cvode(systems, tolerance: float):
    """SUNDIALS CVODE, Adams-Moulton, through scikit-sundae, with the compiled right-hand side."""
    from sksundae.cvode import CVODE

    def one(system):
        constants, coefficients = system.parameters
        slope, work = right_hand_side(number(system)).slope, np.zeros(40)

        def right(t, y, yp):
            yp[:] = slope(y, work, coefficients, constants)

        sizes = propagate.scales(system, system.state)
        solver = CVODE(right, method="Adams", rtol=1e-14, atol=tolerance * sizes, max_num_steps=10**8)
        begin = time.process_time()
        result = solver.solve(np.concatenate([[0.0], checkpoints()]), system.state.vector)
        return time.process_time() - begin, np.asarray(result.y)[1:]

    return _in_turn(one, systems)


class Heyoka:
    """Taylor series by heyoka: the generated text of the right-hand side, run on its expressions.

    Parameters stand for what differs between members; one compiled integrator for each tolerance.
    """

    def __init__(self, degree: int, count: int, compact: bool):
        self.degree, self.count, self.compact, self.kept = degree, count, compact, {}
        self.compile_s = 0.0
        self._compile_anew()

    @staticmethod
    def _compile_anew() -> None:
        """Keep heyoka from taking compiled code of an earlier process from its disk, so that the time is that of
        compiling."""
        import heyoka

        if hasattr(heyoka.llvm_state, "set_diskcache_enabled"):
            heyoka.llvm_state.set_diskcache_enabled(False)

    def equations(self):
        import heyoka

        text = equations.source(self.degree, True)
        body = text[text.index("def rates") :].replace("    called_not_copied()\n", "")
        body = body.replace("    at, to = not_negative(at), not_negative(to)\n", "")

        class Root:
            sqrt = staticmethod(heyoka.sqrt)

        scope = {"math": Root, "fma": lambda a, b, c: a * b + c}
        exec(body, scope)
        variables = heyoka.make_vars(*[f"y{i}" for i in range(20)])
        k = [heyoka.par[i] for i in range(13)]
        c = [heyoka.par[13 + i] for i in range(self.count)]
        w = [*variables, *([0.0] * 20)]
        scope["rates"](w, 0, 20, c, k)
        return list(zip(variables, w[20:], strict=True))

    @staticmethod
    def values(system) -> np.ndarray:
        constants, coefficients = system.parameters
        return np.concatenate([constants[:13], coefficients])

    def _made(self, kind: str, tolerance: float, state, values, **options):
        import heyoka

        if (kind, tolerance) not in self.kept:
            begin = time.process_time()
            maker = heyoka.taylor_adaptive_batch if kind == "batch" else heyoka.taylor_adaptive
            self.kept[kind, tolerance] = maker(self.equations(), state, tol=tolerance, pars=values, **options)
            self.compile_s = max(self.compile_s, time.process_time() - begin)
        return self.kept[kind, tolerance]

    def alone(self, systems, tolerance: float):
        def one(system):
            y, values = system.state.vector, self.values(system)
            integrator = self._made("alone", tolerance, y, values, compact_mode=self.compact)
            integrator.time, integrator.state[:], integrator.pars[:] = 0.0, y, values
            begin = time.process_time()
            out = integrator.propagate_grid(np.concatenate([[0.0], checkpoints()]))[-1]
            return time.process_time() - begin, out[1:].copy()

        return _in_turn(one, systems)

    def batched(self, systems, tolerance: float):
        """Eight at a time."""
        seconds, states = 0.0, []
        for k in range(0, len(systems), 8):
            part = systems[k : k + 8]
            part = part + [part[0]] * (8 - len(part))
            y = np.ascontiguousarray(np.array([s.state.vector for s in part]).T)
            values = np.ascontiguousarray(np.array([self.values(s) for s in part]).T)
            integrator = self._made("batch", tolerance, y, values, compact_mode=self.compact)
            integrator.set_time(0.0)
            integrator.state[:], integrator.pars[:] = y, values
            grid = np.repeat(np.concatenate([[0.0], checkpoints()])[:, None], 8, axis=1)
            begin = time.process_time()
            out = integrator.propagate_grid(grid)[-1]
            seconds += time.process_time() - begin
            states += [out[1:, :, lane].copy() for lane in range(8)]
        return seconds / len(systems), np.array(states[: len(systems)])

    def reference(self, systems) -> np.ndarray:
        """States at the checkpoints in 80-bit arithmetic at tolerance 1e-19."""
        long = np.longdouble
        states = []
        for system in systems:
            y, values = system.state.vector.astype(long), self.values(system).astype(long)
            integrator = self._made("long", long(1e-19), y, values, compact_mode=True, fp_type=long)
            integrator.time, integrator.state[:], integrator.pars[:] = long(0.0), y, values
            out = integrator.propagate_grid(np.concatenate([[0.0], checkpoints()]).astype(long))[-1]
            states.append(out[1:].astype(float))
        return np.array(states)
