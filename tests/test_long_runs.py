"""Gauss's collocation: its coefficients and order, Kepler's orbit, energy that only rounding moves, and the contract of
a run.
"""

import copy
import json
from dataclasses import replace

import llvmlite.binding as llvm
import numpy as np
import pytest
from contracts import G
from scipy.spatial.transform import Rotation
from test_batch import assert_same, member, thrown

from binarydyn.bodies import Ellipsoid
from binarydyn.commands import main
from binarydyn.constants import DAY_S
from binarydyn.dynamics import INTEGRATORS, State, System, simulate, simulate_many
from binarydyn.integrators import gauss, gauss_runs, lanes
from binarydyn.integrators.propagate import advance, blocks, finished, scales, start
from binarydyn.integrators.tableau_gauss import tables
from binarydyn.motion.perturbations import Drift, Perturbations
from binarydyn.scenario import example

ROUNDING = 2.0**-53
LONG = np.longdouble


def spheres(eccentricity: float, seed: int = 0, integrator: str = "gauss") -> System:
    """Two homogeneous spheres at pericentre in a random plane, 1180 m semi-major axis: exactly two points."""
    one, two = Ellipsoid((350.0,) * 3, 2300.0), Ellipsoid((80.0,) * 3, 2300.0)
    gm, q = G * (one.mass_kg + two.mass_kg), 1180.0 * (1.0 - eccentricity)
    turn = Rotation.random(random_state=seed).as_matrix()
    speed = np.sqrt(gm * (1.0 + eccentricity) / q)
    ahead, spin = np.eye(4)[0], np.array([0.0, 0.0, 1e-6])
    state = State(turn @ [q, 0.0, 0.0], turn @ [0.0, speed, 0.0], ahead, spin, ahead, spin)
    return System(one, two, state, 2, 1e-14, integrator)


def pair(seed: int) -> System:
    """An ellipsoid pair after a velocity change."""
    return replace(member(np.random.default_rng(seed)), integrator="gauss", tolerance=1e-14)


def energies(system: System, y) -> np.ndarray:
    """v^2/2 - GM/r of rows of states, in extended precision: its own rounding is 1e-19."""
    y = np.asarray(y, dtype=LONG)
    r, v2 = np.sqrt(np.sum(y[:, :3] ** 2, axis=1)), np.sum(y[:, 3:6] ** 2, axis=1)
    return v2 / 2 - LONG(system.parameters[0][0]) / r


# ---- the method ----


def test_coefficients_against_another_quadrature_and_the_collocation_conditions():
    """Nodes and weights are numpy's to 4 roundings; sum_j a_ij c_j^(k-1) = c_i^k / k for k = 1 .. 8 (Hairer, Lubich &
    Wanner 2006, Geometric Numerical Integration, 2nd ed., sec. II.1.2), a sum of eight terms below 1."""
    mu, b, x = tables()[:64].reshape(8, 8).T, tables()[128:136], tables()[136:144]
    nodes, weights = np.polynomial.legendre.leggauss(8)
    assert np.abs(x - nodes).max() < 4 * ROUNDING and np.abs(b - weights / 2).max() < 4 * ROUNDING
    c = (1.0 + x) / 2
    for k in range(1, 9):
        assert np.abs((mu * b) @ c ** (k - 1) - c**k / k).max() < 8 * ROUNDING


def test_the_stored_method_is_exactly_symplectic_and_symmetric():
    """b_i a_ij + b_j a_ji = b_i b_j and a_ij + a_(9-i)(9-j) = b_j, bit for bit in mu_ij = a_ij / b_j."""
    mu, b = tables()[:64].reshape(8, 8).T, tables()[128:136]
    assert np.array_equal(mu + mu.T, np.ones((8, 8)))
    assert np.array_equal(mu + mu[::-1, ::-1], np.ones((8, 8))) and np.array_equal(b, b[::-1])


def arc_error(turn: float, steps: int) -> float:
    """Error of the position after `turn` radians of a circular orbit in equal steps, over its radius."""
    system = spheres(0.0)
    parameters = np.concatenate(system.parameters)
    work = gauss_runs.work_array(102, system.state.vector, scales(system, system.state), parameters)
    h = turn / steps * np.sqrt(1180.0**3 / parameters[0])
    for _ in range(steps):
        gauss.guess_from_start(102, work)
        assert gauss.solve(102, work, h, 0.0) > 0
        gauss.total(work, gauss.END)
        work[: 2 * gauss.SIZE] = work[gauss.END : gauss.END + 2 * gauss.SIZE]
    return float(np.linalg.norm(work[:3] - by_kepler(system, [steps * h])[0])) / 1180.0


@pytest.mark.parametrize("turn", [2.6, 2.8, 3.0])
def test_order_sixteen(turn):
    """Half the step, 2^16 times less error; with steps of half a turn it stands above rounding."""
    whole, halves = arc_error(turn, 1), arc_error(turn, 2)
    assert halves > 50.0 * ROUNDING and abs(np.log2(whole / halves) - 16.0) < 0.5


# ---- long runs ----


def by_kepler(system: System, times) -> np.ndarray:
    """Positions (n, 3) from Kepler's equation in extended precision, from the very bits of the state at pericentre."""
    y, gm = system.state.vector.astype(LONG), LONG(system.parameters[0][0])
    r, v = y[:3], y[3:6]
    distance = np.sqrt(r @ r)
    a = 1 / (2 / distance - (v @ v) / gm)
    n = np.sqrt(gm / a) / a
    c, s = 1 - distance / a, (r @ v) / np.sqrt(gm * a)  # e cos E, e sin E at the start
    mean = n * np.asarray(times, dtype=LONG)
    d = mean.copy()  # E - E0: mean = d - c sin d + s (1 - cos d)
    for _ in range(60):
        d -= (d - c * np.sin(d) + s * (1 - np.cos(d)) - mean) / (1 - c * np.cos(d) + s * np.sin(d))
    f, g = 1 - a / distance * (1 - np.cos(d)), np.asarray(times, dtype=LONG) - (d - np.sin(d)) / n
    return f[:, None] * r + g[:, None] * v


@pytest.mark.parametrize("eccentricity", [0.0, 0.3, 0.6])
def test_a_thousand_orbits_of_kepler(eccentricity):
    """Each of N steps may err by a rounding of the speed, so the phase after them by 2 pi 1000 3 2^-53 sqrt(N/3), times
    the speed at pericentre over the mean one: tens of micrometres out of 7000 km."""
    system = spheres(eccentricity)
    run = simulate(system, 495.0, every_minutes=1440.0)
    assert run.status == "completed"
    miss = np.linalg.norm((run.position_m.astype(LONG) - by_kepler(system, run.time_s)).astype(float), axis=1)
    faster = np.sqrt((1.0 + eccentricity) / (1.0 - eccentricity))
    assert miss.max() < 2.0 * np.pi * 1000.0 * 3.0 * ROUNDING * np.sqrt(run.steps / 3.0) * faster * 1180.0
    assert miss.max() > 0.0


def growth(integrator: str, days: float, walkers: int):
    """Sample numbers, root mean square over walkers of the relative energy error, their mean, and steps of a run."""
    errors = []
    for seed in range(walkers):
        system = spheres(0.05, seed, integrator)
        run = simulate(system, days, every_minutes=days * 1440.0 / 400.0)
        energy = energies(system, run.y)
        errors.append(((energy - energy[0]) / energy[0]).astype(float))
    return np.arange(1, 401), np.sqrt(np.mean(np.square(errors), axis=0))[1:], run.steps


def exponent(number, size) -> float:
    """Of a power law through the later nine tenths, each octave with the same weight."""
    late = number > 40
    return float(np.polyfit(np.log(number[late]), np.log(size[late]), 1, w=number[late] ** -0.5)[0])


def test_energy_walks_at_random_at_rounding_level():
    """4000 orbits of 16 pairs of points in random planes.

    Brouwer's law (1937, Astron. J. 46, 149): n^(1/2) for random roundings; the exponent of 16 walkers scatters by
    about 0.1.  The size: one rounding of the gain h n v of each step, sqrt(steps) of them.
    """
    number, size, steps = growth("gauss", 1980.0, 16)
    turn = 2.0 * np.pi * 4000.0 / steps
    assert abs(exponent(number, size) - 0.5) < 0.25
    assert size[-1] < ROUNDING * turn * np.sqrt(steps)


def test_the_adaptive_method_drifts_instead():
    """What the test above would see of a method whose truncation errors add up: an exponent of one, in 1000 orbits
    beyond the size allowed there."""
    number, size, steps = growth("rungekutta", 495.0, 2)
    turn = 2.0 * np.pi * 1000.0 / steps
    assert exponent(number, size) > 0.85 and size[-1] > 10.0 * ROUNDING * turn * np.sqrt(steps)


def test_an_ellipsoid_pair_keeps_energy_and_momentum_to_rounding_for_a_year():
    """The primary's spin has 140 times the energy that the drift is compared with, and 26 times the momentum; the dozen
    roundings with which they are squared, turned and added up (half of them at the full size) show as that much."""
    run = simulate(pair(3), 365.25, every_minutes=720.0)
    assert run.status == "completed"
    assert run.relative_energy_error < 12 * 140 * ROUNDING and run.relative_angular_momentum_error < 12 * 26 * ROUNDING


# ---- the contract of a run ----


@pytest.mark.parametrize("days", [5.0, -5.0])
def test_samples_are_those_of_the_adaptive_run(days):
    """Within what the latter errs by at 1e-14: under a micrometre in five days."""
    system = pair(4)
    ours, other = (simulate(replace(system, integrator=name), days) for name in ("gauss", "rungekutta"))
    assert np.array_equal(ours.time_s, other.time_s) and ours.status == other.status == "completed"
    assert np.abs(ours.position_m - other.position_m).max() < 1e-6
    assert np.abs(ours.y[:, 6:] - other.y[:, 6:]).max() < 1e-9


def test_forwards_and_back_meet():
    """Thirty days there and back, less than a micrometre off; attitudes to 1e-9, the secondary's swing amplifies."""
    system = pair(6)
    there = simulate(system, 30.0)
    back = simulate(system, -30.0, state=there[-1])
    miss = back.y[0] - system.state.vector
    assert np.abs(miss[:3]).max() < 1e-6 and np.abs(miss[6:]).max() < 1e-9
    assert back.time_s[0] == -30.0 * DAY_S


def test_restart_blocks_and_batches_change_no_bit():
    system = pair(7)
    whole, run = simulate(system, 20.0), start(system, 20.0)
    assert not advance(run, block_steps=whole.steps // 2)
    twin = copy.deepcopy(run)
    for one in (run, twin):
        assert list(blocks(one))[-1] == 1.0
        assert_same(finished(one), whole)
    small = start(system, 20.0)
    while not advance(small, block_steps=7):
        pass
    assert_same(finished(small), whole)
    mixed = [system, replace(system, integrator="rungekutta"), pair(8)]
    assert_same(simulate_many(mixed, 20.0)[0], whole)
    assert_same(simulate_many(mixed, 20.0)[1], simulate(mixed[1], 20.0))


def test_output_cadence_never_changes_the_path():
    system = pair(9)
    often, rarely = simulate(system, 10.0, every_minutes=5.0), simulate(system, 10.0, every_minutes=120.0)
    assert np.array_equal(often.y[::24], rarely.y) and often.steps == rarely.steps


def test_the_tolerance_does_not_enter():
    assert np.array_equal(simulate(pair(5), 2.0).y, simulate(replace(pair(5), tolerance=1e-6), 2.0).y)


def test_perturbed_pairs_are_left_to_the_adaptive_method():
    perturbed = replace(pair(5), perturbations=Perturbations(drift=Drift(rate_rad_s2=1e-15)))
    one, other = simulate_many([perturbed, replace(perturbed, integrator="rungekutta")], 2.0)
    assert np.array_equal(one.y, other.y) and one.evaluations == other.evaluations


def test_contact_escape_and_limits_have_their_names():
    """The instant of the touch is that of the adaptive run, to a millisecond; so is the end of an escape, to a step."""
    for speed, status in ((0.01, "contact"), (3.0, "escape")):
        system = thrown(pair(9), speed)
        ours, other = (simulate(replace(system, integrator=name), 9.0) for name in ("gauss", "rungekutta"))
        assert ours.status == other.status == status
        if status == "contact":
            assert abs(ours.time_s[-1] - other.time_s[-1]) < 1e-3
            assert np.abs(ours.position_m[-1] - other.position_m[-1]).max() < 1e-5
    limited = simulate(pair(9), 9.0, max_steps=50)
    assert limited.status == "step_limit" and limited.steps == 50 and 0.0 < limited.days < 9.0


def test_a_touch_within_a_step_is_seen_at_its_stages():
    """Overlap at the third stage alone; nearer bounding spheres are not enough, the ellipsoids must touch."""
    run = start(pair(9), 1.0)
    run.work[gauss.END : gauss.END + 20] = run.system.state.vector
    stages = run.work.reshape(-1, lanes.LANES)[gauss_runs.ARGUMENT : gauss_runs.ARGUMENT + 20]
    stages[:] = run.system.state.vector[:, None]
    near, axes = run.limits[0], run.limits[2:]
    assert gauss_runs.touching_stage(run.work, run.limits, near) == -1
    stages[:3, 1] = 0.0, 0.0, near - 1.0
    assert gauss_runs.touching_stage(run.work, run.limits, near) == -1
    stages[:3, 2] = 0.0, 0.0, axes[2]
    assert gauss_runs.touching_stage(run.work, run.limits, near) == 2
    run.work[gauss.END : gauss.END + 3] = 0.0, 0.0, axes[2]
    stages[:3, 2] = stages[:3, 0]
    assert gauss_runs.touching_stage(run.work, run.limits, near) == lanes.LANES


# ---- what the check command says of it ----


def test_check_names_the_integrator_and_the_vectors(tmp_path, capsys):
    file = tmp_path / "long.toml"
    file.write_text(example().text.replace("[simulation]", '[simulation]\nintegrator = "gauss"'))
    row = INTEGRATORS["gauss"]
    assert main(["check", str(file)]) == 0
    shown = capsys.readouterr().out
    assert f"integrator {row.name}, order {row.order}: {row.when}" in shown.splitlines() and "lanes" not in shown
    assert main(["check"]) == 0
    assert "integrator rungekutta" not in capsys.readouterr().out  # the usual one takes no line
    assert main(["check", "--keys"]) == 0
    shown = capsys.readouterr().out
    assert all(one.citation in shown and one.cost in shown for one in INTEGRATORS.values())
    assert f"{lanes.LANES} lanes" in shown
    assert main(["check", str(file), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["integrator"]["order"] == row.order
    assert report["lanes"] == {"count": lanes.LANES, "vector_bits": lanes.vector_bits()}


@pytest.mark.parametrize(
    "features, bits", [({"avx512f": True, "avx": True}, 512), ({"avx512f": False, "avx": True}, 256), ({}, 128)]
)
def test_width_of_vectors(features, bits, monkeypatch):
    monkeypatch.setattr(llvm, "get_host_cpu_features", lambda: features)
    assert lanes.vector_bits() == bits


def test_a_processor_that_says_nothing_has_narrow_vectors(monkeypatch):
    def unknown():
        raise RuntimeError

    monkeypatch.setattr(llvm, "get_host_cpu_features", unknown)
    assert lanes.vector_bits() == 128
