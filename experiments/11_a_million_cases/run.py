"""How long do a million 60-day cases take?  Drawn, stepped on a GPU (or all cores), summarised and stored.

    python run.py [count] [--backend gpu|threads] [--degree 4|6] [--general] [--chaos] [--check]

--general: lumpy bodies, all multipoles, in place of ellipsoids; --chaos: four more runs a case say which to trust.
--check compares 1000 of the cases with lanes of the processor bit for bit, and 200 with adaptive runs at 1e-13.
"""

import argparse
import json
import time
from functools import cache, partial
from pathlib import Path

import h5py
import numpy as np
from scipy.spatial import ConvexHull

from binarydyn.batch import cases as on_cores
from binarydyn.batch import gpu
from binarydyn.batch.chaos import with_neighbours
from binarydyn.batch.ellipsoids import Ellipsoids
from binarydyn.batch.scaled import Scaled
from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.constants import G
from binarydyn.dynamics import State, System, simulate_many
from binarydyn.gravity.models import model_number
from binarydyn.motion.equations import parameters
from binarydyn.observables import period
from binarydyn.observables.chaos import is_chaotic

DAYS, SEPARATION_M, SPIN_H, SEED = 60.0, 1180.0, 2.4, 5
REFERENCES = 200
NOMINAL = np.array([400.0, 380.0, 310.0, 2300.0, 90.0, 75.0, 60.0, 2300.0])


def drawn(count: int, seed: int = SEED) -> dict[str, np.ndarray]:
    """Inputs of all cases: 3 % scatter (1 sigma) in axes and densities, velocity changes of 0-4.5 mm/s, tilts of 0-5
    deg."""
    random = np.random.default_rng(seed)
    sizes = NOMINAL[:, None] * (1.0 + 0.03 * random.standard_normal((8, count)))
    for rows in (slice(0, 3), slice(4, 7)):
        sizes[rows] = -np.sort(-sizes[rows], axis=0)
    velocity_change, tilt = random.uniform(0.0, 4.5e-3, count), np.radians(random.uniform(0.0, 5.0, count))
    return {"primary": sizes[:4], "secondary": sizes[4:], "dv_m_s": velocity_change, "tilt_rad": tilt}


def lumpy(semi_axes_m, seed: int) -> Mesh:
    """An ellipsoid with hills of a few per cent, not even in any axis."""
    random = np.random.default_rng(seed)
    points = random.standard_normal((400, 3))
    points /= np.linalg.norm(points, axis=1)[:, None]
    facets = ConvexHull(points).simplices
    outward = np.einsum("ij,ij->i", np.cross(*np.diff(points[facets], axis=1).transpose(1, 0, 2)), points[facets[:, 0]])
    facets = np.where(outward[:, None] > 0.0, facets, facets[:, ::-1])
    hills = 1.0 + sum(0.02 * np.cos(k * points @ random.standard_normal(3) + k) for k in (1, 2, 3))
    return Mesh(points * hills[:, None] * np.array(semi_axes_m), facets, 2300.0)


@cache
def lumps() -> tuple[Mesh, Mesh]:
    """Of the general pair: the nominal axes with hills."""
    return lumpy(NOMINAL[:3], 1), lumpy(NOMINAL[4:7], 2)


def bodies(inputs: dict[str, np.ndarray], general: bool):
    """Both bodies of every case: ellipsoids, or lumpy ones of its own sizes."""
    if not general:
        return [Ellipsoids(inputs[name][:3], inputs[name][3]) for name in ("primary", "secondary")]
    sizes = [inputs["primary"][0] / NOMINAL[0], inputs["secondary"][0] / NOMINAL[4]]
    densities = [inputs[name][3] for name in ("primary", "secondary")]
    return [Scaled(*one) for one in zip(lumps(), sizes, densities, strict=True)]


def built(inputs: dict[str, np.ndarray], degree: int, general: bool):
    """States (20, n) on a circular orbit about an oblate primary, synchronous, then pushed and tilted; and bodies."""
    one, two = bodies(inputs, general)
    count = len(inputs["dv_m_s"])
    ix, iy, iz = one.inertia_kg_m2
    oblateness = (iz - 0.5 * (ix + iy)) / one.mass_kg
    gm = G * (one.mass_kg + two.mass_kg)
    motion = np.sqrt(gm / SEPARATION_M**3 * (1.0 + 1.5 * oblateness / SEPARATION_M**2))
    half = 0.5 * inputs["tilt_rad"]
    y = np.zeros((20, count))
    y[0], y[4], y[6] = SEPARATION_M, SEPARATION_M * motion - inputs["dv_m_s"], 1.0
    y[12], y[13] = 2.0 * np.pi / (SPIN_H * 3600.0), np.cos(half)
    y[14] = y[15] = np.sin(half) * np.sqrt(0.5)
    y[19] = motion
    return one, two, y, parameters(one, two, degree, not general)


def prepared(inputs: dict[str, np.ndarray], degree: int, general: bool) -> on_cores.Cases:
    one, two, y, (constants, coefficients) = built(inputs, degree, general)
    number = model_number(degree, not general)
    return on_cores.from_arrays(number, y, constants, coefficients, one.bounding_radius_m + two.bounding_radius_m)


def summary(outcomes: on_cores.Outcomes) -> dict[str, float]:
    """What a campaign is asked for first."""
    good = outcomes.fits & (outcomes.long_axis_misalignment_max_deg < 90.0)
    low, middle, high = np.quantile(outcomes.period_s[good], [0.16, 0.5, 0.84])
    return {
        "period_h_16": low / 3600.0,
        "period_h_50": middle / 3600.0,
        "period_h_84": high / 3600.0,
        "lost_lock": float(np.mean(outcomes.long_axis_misalignment_max_deg >= 90.0)),
        "not_fit": float(np.mean(~outcomes.fits)),
    }


def stored(path: Path, inputs, outcomes) -> None:
    """One dataset a quantity, unit in its name."""
    with h5py.File(path, "w") as file:
        for name, values in inputs.items():
            file[f"inputs/{name}"] = values
        for name in (
            "period_s",
            "separation_min_m",
            "separation_max_m",
            "long_axis_misalignment_max_deg",
            "pole_tilt_max_deg",
            "fits",
        ):
            file[f"outcomes/{name}"] = getattr(outcomes, name)


def checked(inputs, degree: int, general: bool, steps: np.ndarray, done: on_cores.Outcomes) -> dict[str, float]:
    """The first cases again: by lanes of the processor, and by the adaptive method at 1e-13 for the regular ones."""
    count = len(steps)
    part = {name: values[..., :count] for name, values in inputs.items()}
    given = prepared(part, degree, general)
    lanes, beside = with_neighbours(given, DAYS, steps)
    differing = sum(
        int(np.sum(getattr(lanes, name) != getattr(done, name)[..., :count]))
        for name in ("period_s", "separation_min_m", "separation_max_m", "long_axis_misalignment_max_deg", "state")
    )
    some = min(count, REFERENCES)
    exact = np.array([period(run).value_s for run in simulate_many(systems_of(part, degree, general, some), DAYS)])
    calm = ~is_chaotic(beside.growth[:some], DAYS)
    regular = (lanes.long_axis_misalignment_max_deg[:some] < 60.0) & calm & lanes.fits[:some]
    errors = np.abs(lanes.period_s[:some] - exact)[regular]
    return {
        "compared_with_lanes": count,
        "numbers_that_differ_from_lanes": differing,
        "references": some,
        "regular": int(regular.sum()),
        "period_error_s_median": float(np.median(errors)),
        "period_error_s_90": float(np.quantile(errors, 0.9)),
        "period_error_s_max": float(errors.max()),
    }


def systems_of(part, degree: int, general: bool, some: int) -> list[System]:
    """The first cases one by one, for the adaptive method at 1e-13."""
    one, two, y, _ = built({name: values[..., :some] for name, values in part.items()}, degree, general)
    return [System(single(one, i), single(two, i), State.from_vector(y[:, i]), degree, 1e-13) for i in range(some)]


def single(many: Ellipsoids | Scaled, i: int) -> Ellipsoid | Mesh:
    """One of many bodies."""
    if isinstance(many, Ellipsoids):
        return Ellipsoid(tuple(many.semi_axes_m[:, i]), many.density_kg_m3[i])
    return Mesh(many.body.vertices_m * many.size[i], many.body.facets, many.density_kg_m3[i])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("count", nargs="?", type=int, default=2000)
    parser.add_argument("--backend", choices=("gpu", "threads"), default="threads")
    parser.add_argument("--degree", type=int, choices=(2, 4, 6, 8), default=4)
    parser.add_argument("--general", action="store_true", help="lumpy bodies in place of ellipsoids")
    parser.add_argument("--chaos", action="store_true", help="with four neighbouring trajectories a case")
    parser.add_argument("--refine", type=float, default=1.0, help="times as many steps")
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--out", type=Path, default=Path("a_million_cases.h5"))
    given = parser.parse_args()
    clock, times = time.perf_counter(), {}

    def lap(name: str) -> None:
        nonlocal clock
        now = time.perf_counter()
        times[name], clock = round(now - clock, 4), now

    backend = gpu if given.backend == "gpu" else on_cores
    small = prepared(drawn(16), given.degree, given.general)
    backend.accumulated(small, 1.0)
    lap("compile_s")
    inputs = drawn(given.count)
    lap("draw_s")
    cases = prepared(inputs, given.degree, given.general)
    lap("prepare_s")
    steps = cases.steps(DAYS, given.refine)
    kernel_s: list[float] = []
    told = {"timed": kernel_s.append} if given.backend == "gpu" else {}
    if given.chaos:
        stepper = partial(backend.accumulated, **told)
        outcomes, beside = with_neighbours(cases, DAYS, steps, stepper)
    else:
        outcomes = backend.accumulated(cases, DAYS, steps, **told)
    lap("step_s")
    if given.backend == "gpu":
        times["of_which_kernel_s"] = round(sum(kernel_s), 4)
    found = summary(outcomes)
    if given.chaos:
        found["chaotic"] = float(np.mean(is_chaotic(beside.growth, DAYS)))
    lap("summarise_s")
    stored(given.out, inputs, outcomes)
    lap("store_s")
    asked = {name: getattr(given, name) for name in ("count", "backend", "degree", "general")}
    result = {**asked, "steps": int(steps.max()), "days": DAYS, **times, **found}
    result["whole_s"] = round(sum(v for k, v in times.items() if k != "of_which_kernel_s"), 3)
    if given.check:
        result |= checked(inputs, given.degree, given.general, steps[:1000], outcomes)
    print(json.dumps(result, indent=1))


if __name__ == "__main__":
    main()
