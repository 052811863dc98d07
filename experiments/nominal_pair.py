"""The system that the experiments on speed share, its right-hand side as functions of arrays, and how they time.

Ellipsoids 400 x 380 x 310 m and 90 x 75 x 60 m, 2300 kg/m3, primary spin 2.4 h, 1180 m apart, after a velocity change
of -3 mm/s against the motion, the secondary's axes tilted by 2 degrees.
"""

from __future__ import annotations

import hashlib
import os
import time
from types import ModuleType

import numpy as np

from binarydyn._jit import written_module
from binarydyn.bodies import Ellipsoid
from binarydyn.constants import G
from binarydyn.dynamics import State, System
from binarydyn.motion import equations

DAYS, CHECKPOINTS = 60.0, 10
PERIOD_ERROR_M = 0.19
"""Along the track after 60 days: what an error of 0.01 s in the period makes."""

_RIGHT_HAND_SIDE = '''"""The right-hand side of model {number} as a function of an array, alone and in a loop."""

from numba import int64

from binarydyn._jit import kernel
from binarydyn_written.motion_{number} import rates


@kernel
def slope(y, w, c, k):
    w[:20] = y
    rates(w, int64(0), int64(20), c, k)
    return w[20:40].copy()


@kernel
def evaluate(w, count, c, k):
    for _ in range(count):
        rates(w, int64(0), int64(20), c, k)
        for i in range(20):
            w[i] += 1e-12 * w[20 + i]
'''


def nominal(tolerance: float = 1e-9, degree: int = 4, random: np.random.Generator | None = None) -> System:
    """The system; with `random`, one of 3 % scatter in its axes and densities and a tenth in its velocity change and
    tilt."""
    f = np.ones(8) if random is None else 1.0 + 0.03 * random.standard_normal(8)
    velocity_change, turn = (3e-3, 1.0) if random is None else np.array([3e-3, 1.0]) * random.uniform(0.9, 1.1, 2)
    primary = Ellipsoid(tuple(sorted(np.array([400.0, 380.0, 310.0]) * f[:3], reverse=True)), 2300.0 * f[3])
    secondary = Ellipsoid(tuple(sorted(np.array([90.0, 75.0, 60.0]) * f[4:7], reverse=True)), 2300.0 * f[7])
    n = 1.01 * np.sqrt(G * (primary.mass_kg + secondary.mass_kg) / 1180.0**3)
    half = np.radians(turn)
    state = State(
        np.array([1180.0, 0.0, 0.0]),
        np.array([0.0, 1180.0 * n - velocity_change, 0.0]),
        np.array([1.0, 0.0, 0.0, 0.0]),
        np.array([0.0, 0.0, 2.0 * np.pi / (2.4 * 3600.0)]),
        np.array([np.cos(half), *(np.sin(half) * np.sqrt([0.5, 0.5, 0.0]))]),
        np.array([0.0, 0.0, n]),
    )
    return System(primary, secondary, state, degree, tolerance)


def members(count: int, degree: int = 4, tolerance: float = 1e-9) -> list[System]:
    """The nominal pair and count - 1 scattered ones, the same for every caller."""
    random = np.random.default_rng(1)
    return [nominal(tolerance, degree)] + [nominal(tolerance, degree, random) for _ in range(count - 1)]


def checkpoints() -> np.ndarray:
    """(CHECKPOINTS,) seconds, the last one the end."""
    return np.linspace(0.0, DAYS * 86400.0, CHECKPOINTS + 1)[1:]


def right_hand_side(number: int) -> ModuleType:
    """Compiled functions slope(y, work (40,), c, k) -> (20,) and evaluate(work, count, c, k) of a gravity model."""
    equations.module(number)
    return generated("right_hand_side", _RIGHT_HAND_SIDE.format(number=number))


def generated(name: str, text: str) -> ModuleType:
    """A module of kernels from its text; another text is another file, so that no old one is taken for it."""
    digest = hashlib.sha256(text.encode()).hexdigest()[:12]
    return written_module(f"experiment_{name}_{digest}", lambda: text)


def fastest(call, repeats: int) -> float:
    """Seconds of the fastest of some calls."""
    best = np.inf
    for _ in range(repeats):
        begin = time.process_time()
        call()
        best = min(best, time.process_time() - begin)
    return best


def circumstances() -> str:
    """Processor, cores, load and day, for the head of a table."""
    name = "processor unknown"
    try:
        with open("/proc/cpuinfo") as info:
            name = next(line.split(":")[1].strip() for line in info if line.startswith("model name"))
    except (OSError, StopIteration):
        pass
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return f"{name}, {os.cpu_count()} cores, load {load:.2f}, {time.strftime('%d %B %Y')}"
