"""What the runs are compared with, in 80-bit arithmetic: another method on the same equations, and the energy of states
that a run carries to more than double precision.
"""

from __future__ import annotations

import inspect
from types import SimpleNamespace

import numpy as np

from binarydyn.gravity.generator import source
from binarydyn.gravity.models import MODELS
from binarydyn.integrators import propagate
from binarydyn.integrators.gauss import CARRY, STATE
from binarydyn.motion import equations
from binarydyn.vectors import quaternion_product, rotation_of_quaternion

LONG = np.longdouble


def fused(a, b, c):
    """Stands for the fused operation of the kernels."""
    return a * b + c


def text_of(code: str) -> str:
    """The written kernels without what only the compiler understands."""
    lines = code.splitlines()
    dull = ("called_not_copied()", "at, to = not_negative", "model = numba.literally", "@kernel", "from ", "import ")
    return "\n".join(line for line in lines if not line.strip().startswith(dull))


def energy_error(run: propagate.Run, states: np.ndarray) -> np.ndarray:
    """(n,): E - E0 of states (n, 20) in units of G M1 M2 / 2a, from the package's own formula run on long doubles."""
    model, scope = MODELS[run.model], {"fma": fused, "math": SimpleNamespace(sqrt=np.sqrt)}
    exec(text_of(source(model.degree, model.even)), scope)
    potential = scope["potential"]
    scope |= {"potential": lambda model, *arguments: potential(*arguments)}
    scope |= {
        "quaternion_product": quaternion_product.py_func,
        "rotation_of_quaternion": rotation_of_quaternion.py_func,
    }
    exec(text_of(inspect.getsource(equations.conserved.py_func)), scope)
    c, k = run.coefficients.astype(LONG), run.constants.astype(LONG)
    energy = scope["conserved"](run.model, states.astype(LONG).T, 0, c, k)[0]
    unit = 1.0 / (2.0 * propagate.semi_major_axis_m(run.system))
    return ((energy - energy[0]) / unit).astype(float)


def walk(system, days: float, points: int) -> tuple[np.ndarray, np.ndarray]:
    """Days and energy errors along a run of the method with compensated sums, from the state and what it carries."""
    run = propagate.start(system, days, every_minutes=days * 1440.0)
    propagate.advance(run, block_steps=100)
    per_step = run.progress[0] / 86400.0 / 100.0
    block = max(1, int(days / per_step / points))
    times, states = [], []
    while len(times) < points + 1:
        whole = run.work[STATE : STATE + 20].astype(LONG) + run.work[CARRY : CARRY + 20].astype(LONG)
        times.append(run.progress[0] / 86400.0)
        states.append(whole)
        if propagate.advance(run, block_steps=block):
            break
    return np.array(times) - times[0], energy_error(run, np.array(states))


def reference(system, times_s: np.ndarray) -> np.ndarray:
    """Positions (n, 3) by Taylor series in 80-bit arithmetic at tolerance 1e-20, by heyoka on the generated text."""
    import heyoka

    constants, coefficients = system.parameters
    body = text_of(equations.source(system.degree, True))
    scope = {"math": SimpleNamespace(sqrt=heyoka.sqrt), "fma": fused}
    exec(body[body.index("def rates") :], scope)
    variables = heyoka.make_vars(*[f"y{i}" for i in range(20)])
    w = [*variables, *([0.0] * 20)]
    k = [heyoka.par[i] for i in range(13)]
    c = [heyoka.par[13 + i] for i in range(len(coefficients))]
    scope["rates"](w, 0, 20, c, k)
    taylor = heyoka.taylor_adaptive(
        list(zip(variables, w[20:], strict=True)),
        system.state.vector.astype(LONG),
        tol=LONG(1e-20),
        pars=np.concatenate([constants[:13], coefficients]).astype(LONG),
        compact_mode=True,
        fp_type=LONG,
    )
    return taylor.propagate_grid(times_s.astype(LONG))[-1][:, :3]
