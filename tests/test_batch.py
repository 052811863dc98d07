"""Runs side by side in lanes: the same bits as runs one by one, whatever shares the lanes, and however a run ends."""

from dataclasses import replace

import numpy as np
import pytest
from meshes import lumpy

from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.constants import G
from binarydyn.dynamics import State, System, simulate, simulate_many
from binarydyn.integrators import batch, lanes

DAYS = 3.0


def mesh() -> Mesh:
    vertices, facets = lumpy(6, 1)[:2]
    return Mesh(vertices * 380.0 / np.abs(vertices).max(), facets, 2300.0)


def member(random, degree: int = 4, primary=None) -> System:
    """A pushed pair with its own axes, densities, tolerance, velocity change and tilt."""
    if primary is None:
        axes = sorted(np.array([400.0, 370.0, 310.0]) * random.uniform(0.97, 1.03, 3), reverse=True)
        primary = Ellipsoid(tuple(axes), 2300.0 * random.uniform(0.97, 1.03))
    axes = sorted(np.array([90.0, 75.0, 60.0]) * random.uniform(0.97, 1.03, 3), reverse=True)
    secondary = Ellipsoid(tuple(axes), 2300.0)
    n = np.sqrt(G * (primary.mass_kg + secondary.mass_kg) / 1180.0**3)
    tilt = random.uniform(-0.05, 0.05, 3)
    attitude = np.array([1.0, *tilt]) / np.linalg.norm([1.0, *tilt])
    velocity = np.array([0.0, 1180.0 * n - 3e-3 * random.uniform(), 0.0])
    spin = np.array([0.0, 0.0, 2.0 * np.pi / (2.4 * 3600.0)])
    state = State(np.array([1180.0, 0.0, 0.0]), velocity, np.eye(4)[0], spin, attitude, np.array([0.0, 0.0, n]))
    return System(primary, secondary, state, degree, 10.0 ** random.uniform(-11.0, -8.0))


def thrown(system: System, speed_m_s: float) -> System:
    """The system with another along-track speed."""
    return system.with_state(replace(system.state, velocity_m_s=np.array([0.0, speed_m_s, 0.0])))


def assert_same(one, other):
    assert one.status == other.status
    assert np.array_equal(one.time_s, other.time_s) and np.array_equal(one.y, other.y)
    assert (one.steps, one.evaluations) == (other.steps, other.evaluations)
    assert (one.relative_energy_error, one.relative_angular_momentum_error) == (
        other.relative_energy_error,
        other.relative_angular_momentum_error,
    )


@pytest.mark.parametrize("days", [DAYS, -DAYS])
@pytest.mark.parametrize("count", [1, 19])
def test_lanes_have_the_bits_of_single_runs(count, days):
    """One member in eight lanes, and more members than lanes, with a contact and an escape among them."""
    random = np.random.default_rng(count)
    systems = [member(random) for _ in range(count)]
    if count > 5:
        systems[2], systems[5] = thrown(systems[2], 0.01), thrown(systems[5], 2.0)
    together = simulate_many(systems, days)
    if count > 5:
        assert together[2].status == "contact"
    for system, run in zip(systems, together, strict=True):
        assert_same(simulate(system, days), run)


def test_an_escape_frees_its_lane():
    """Beyond fifty separations the run ends early; the lane goes on with the next member."""
    random = np.random.default_rng(5)
    systems = [thrown(member(random), 3.0) if k % 3 == 0 else member(random) for k in range(12)]
    together = simulate_many(systems, DAYS, every_minutes=60.0)
    assert [run.status for run in together] == ["escape" if k % 3 == 0 else "completed" for k in range(12)]
    for system, run in zip(systems, together, strict=True):
        assert_same(simulate(system, DAYS, every_minutes=60.0), run)


def test_general_bodies_and_several_models_at_once():
    """Meshes go to the general kernels, ellipsoids of two degrees to the even ones; each group has its own lanes."""
    random, primary = np.random.default_rng(8), mesh()
    systems = [member(random, 2 if k % 3 == 0 else 4, primary if k % 3 == 1 else None) for k in range(9)]
    for system, run in zip(systems, simulate_many(systems, 1.0), strict=True):
        assert_same(simulate(system, 1.0), run)


def test_lane_mates_order_and_blocks_change_no_bit(monkeypatch):
    random = np.random.default_rng(21)
    systems = [member(random) for _ in range(11)]
    base = simulate_many(systems, DAYS)
    order = random.permutation(11)
    monkeypatch.setattr(batch, "BLOCK", 7)
    for k, run in zip(order, simulate_many([systems[k] for k in order], DAYS), strict=True):
        assert_same(base[k], run)


def test_the_step_limit_is_an_outcome_of_each_lane():
    random = np.random.default_rng(2)
    systems = [member(random) for _ in range(3)]
    for system, run in zip(systems, simulate_many(systems, DAYS, max_steps=100), strict=True):
        assert run.status == "step_limit"
        assert_same(simulate(system, DAYS, max_steps=100), run)


def test_the_lanes_are_machine_vectors():
    """The compiled right-hand side works on eight doubles at once where the processor has 512-bit vectors.

    Else on fewer.
    """
    import llvmlite.binding as llvm
    import numba

    kernel = numba.njit(error_model="numpy")(lanes.module(104).rates.py_func)
    kernel(np.ones(lanes.work_size(104)))
    (text,) = kernel.inspect_asm().values()
    has_wide = llvm.get_host_cpu_features().get("avx512f", False)
    wide, narrow = text.count("zmm"), text.count("ymm")
    assert (wide if has_wide else narrow) > 500
