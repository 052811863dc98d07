"""Cases stepped without storing their paths: the numbers of runs, whatever the lane mates, and the GPU's text too."""

import ctypes
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest
from meshes import lumpy
from test_batch import member, thrown

from binarydyn.batch import accumulate, gpu
from binarydyn.batch.cases import accumulated, cases, turn_weights
from binarydyn.batch.chaos import with_neighbours
from binarydyn.batch.ellipsoids import Ellipsoids
from binarydyn.batch.scaled import Scaled
from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.constants import DAY_S, G
from binarydyn.dynamics import State, System, simulate
from binarydyn.errors import InputError
from binarydyn.motion.equations import parameters
from binarydyn.observables import attitude, period

DAYS = 20.0


@pytest.fixture(scope="module")
def systems():
    return [member(np.random.default_rng(300 + k)) for k in range(11)]


def same(one, other, i=slice(None), j=slice(None)):
    """Every number of some cases equal to the last bit."""
    names = (
        "period_s",
        "separation_min_m",
        "separation_max_m",
        "long_axis_misalignment_max_deg",
        "pole_tilt_max_deg",
        "state",
    )
    return all(np.array_equal(getattr(one, name)[..., i], getattr(other, name)[..., j]) for name in names)


def test_outcomes_are_those_of_the_stored_path(systems):
    """Period by the weighted fit of the samples, extremes over the samples; 1e-12: only the order of a sum differs."""
    given = cases(systems)
    ours = accumulated(given, DAYS)
    for i in (0, 5, 10):
        minutes = DAYS * 1440.0 / given.steps(DAYS)[i]
        run = simulate(replace(systems[i], integrator="splitting"), DAYS, every_minutes=minutes)
        distance = np.linalg.norm(run.position_m, axis=1)
        assert ours.fits[i]
        assert ours.period_s[i] == pytest.approx(period(run).value_s, rel=1e-12)
        assert ours.separation_min_m[i] == pytest.approx(distance.min(), rel=1e-13)
        assert ours.separation_max_m[i] == pytest.approx(distance.max(), rel=1e-13)
        assert np.abs(ours.state[:, i] - run.y[-1]).max() < 1e-12 * 1200.0


def test_the_long_axis_angle_bounds_yaw_and_pitch(systems):
    """cos(angle) = cos(yaw) cos(pitch) for a 1-2-3 sequence (the first element of its matrix)."""
    ours = accumulated(cases(systems), DAYS)
    for i in range(4):
        run = simulate(replace(systems[i], tolerance=1e-11), DAYS, every_minutes=10.0)
        history = attitude(run)
        cosine = np.cos(np.radians(history.yaw_deg)) * np.cos(np.radians(history.pitch_deg))
        expected = np.degrees(np.arccos(cosine.min()))
        if expected < 60.0:
            assert ours.long_axis_misalignment_max_deg[i] == pytest.approx(expected, abs=0.5)


def test_a_case_does_not_depend_on_its_mates_or_on_threads(systems):
    given = cases(systems)
    steps = int(given.steps(DAYS).max())
    whole = accumulated(given, DAYS, steps, workers=2)
    order = [10, 3, 7, 0, 1, 2, 4, 5, 6, 8, 9]
    mixed = accumulated(cases([systems[i] for i in order]), DAYS, steps, workers=1)
    alone = accumulated(cases([systems[7]]), DAYS, steps, workers=1)
    assert same(whole, mixed, order) and same(whole, alone, [7], [0])
    assert not same(whole, accumulated(given, DAYS, steps + 1))


def test_a_case_makes_its_own_number_of_steps_whoever_steps_beside_it(systems):
    """Alone, in twos and in elevens, beside a system half as fast and one twice as fast: the same bits."""
    slow, fast = (
        one.with_state(
            replace(one.state, position_m=x * one.state.position_m, velocity_m_s=one.state.velocity_m_s / x**0.5)
        )
        for one, x in zip(systems[:2], (1.4, 0.7), strict=True)
    )
    several = [slow, fast, *systems[2:]]
    given = cases(several)
    counts, whole = given.steps(DAYS), accumulated(given, DAYS)
    assert counts[1] > 1.4 * counts[2] and whole.fits.all()
    beside = with_neighbours(given, DAYS)[1]
    for some in ([0], [2], [1, 2], [5, 0, 3], list(range(10))):
        part = cases([several[k] for k in some])
        assert np.array_equal(part.steps(DAYS), counts[some]) and np.array_equal(part.columns, given.columns[:, some])
        assert same(whole, accumulated(part, DAYS), some)
    alone = with_neighbours(cases([fast]), DAYS)[1]
    assert (alone.growth[0], alone.period_spread_s[0]) == (beside.growth[1], beside.period_spread_s[1])


def test_keplers_third_law():
    """Two spheres: 2 pi sqrt(a^3 / GM) (Goldstein 1980, sec. 3-8), on a circle, to rounding of 2e4 turns."""
    ball = Ellipsoid((200.0, 200.0, 200.0), 2000.0), Ellipsoid((50.0, 50.0, 50.0), 2000.0)
    gm, a = G * (ball[0].mass_kg + ball[1].mass_kg), 1100.0
    n = np.sqrt(gm / a**3)
    still = np.array([1.0, 0.0, 0.0, 0.0])
    state = State(np.array([a, 0, 0]), np.array([0, n * a, 0]), still, np.array([0, 0, n]), still, np.array([0, 0, n]))
    ours = accumulated(cases([System(*ball, state)]), DAYS)
    assert ours.period_s[0] == pytest.approx(2.0 * np.pi / n, rel=1e-12)
    assert ours.separation_max_m[0] - ours.separation_min_m[0] < 1e-9 * a
    assert ours.long_axis_misalignment_max_deg[0] < 1e-4


def test_the_weights_fit_a_straight_line_exactly():
    weights = turn_weights(321, 7.0)
    assert weights.sum() * (7.0 * DAY_S / 321) == pytest.approx(1.0, rel=1e-12)


def test_backwards_is_the_same_orbit(systems):
    given = cases(systems)
    forward, backward = accumulated(given, 5.0), accumulated(given, -5.0)
    assert backward.fits.all()
    assert backward.period_s == pytest.approx(forward.period_s, rel=0.02)


def test_what_a_fixed_step_does_not_fit_is_named():
    close = thrown(member(np.random.default_rng(1)), 0.35)
    regular = member(np.random.default_rng(1))
    ours = accumulated(cases([regular, close]), DAYS)
    assert ours.fits.tolist() == [True, False]


def test_many_ellipsoids_have_the_parameters_of_each():
    random = np.random.default_rng(2)
    axes = [-np.sort(-random.uniform(50.0, 400.0, (3, 5)), axis=0) for _ in range(2)]
    density = random.uniform(1500.0, 3000.0, (2, 5))
    for degree in (2, 4, 6):
        ours = parameters(Ellipsoids(axes[0], density[0]), Ellipsoids(axes[1], density[1]), degree, True)
        for i in range(5):
            bodies = [Ellipsoid(tuple(axes[k][:, i]), density[k, i]) for k in range(2)]
            for one, other in zip(parameters(*bodies, degree, True), ours, strict=True):
                assert one == pytest.approx(other[:, i], rel=1e-14, abs=0.0)


def test_many_scaled_bodies_have_the_parameters_of_each():
    """Integrals of degree d grow as size^(3 + d): those of meshes that are scaled vertex by vertex."""
    shapes = [Mesh(*lumpy(4, seed), 2000.0) for seed in (1, 2)]
    size, density = np.array([0.7, 1.0, 1.9]), np.array([1500.0, 2000.0, 2900.0])
    ours = parameters(*(Scaled(shape, size, density) for shape in shapes), 4, False)
    for i in range(3):
        bodies = [Mesh(s.vertices_m * size[i], s.facets, density[i]) for s in shapes]
        for one, other in zip(parameters(*bodies, 4, False), ours, strict=True):
            assert np.abs(one - other[:, i]).max() <= 1e-11 * np.abs(one).max()
    assert Scaled(shapes[0], size, density).bounding_radius_m[2] == pytest.approx(1.9 * shapes[0].bounding_radius_m)
    with pytest.raises(ValueError, match="above 0"):
        Scaled(shapes[0], -size, density)


def test_systems_with_different_models_are_refused(systems):
    with pytest.raises(ValueError, match="one gravity model"):
        cases([systems[0], replace(systems[1], degree=2)])
    with pytest.raises(ValueError, match="other than zero"):
        accumulated(cases(systems[:1]), 0.0)


_ON_THE_PROCESSOR = """
#include <cmath>
#include <cstddef>
using std::fma; using std::sqrt;
#define __device__
#define __constant__
#define __global__
#define __restrict__
struct Index { int x; };
static Index blockIdx{0}, blockDim{1}, threadIdx{0};
%s
extern "C" void all(const double* given, double* out, const double* weights, int count, int steps, double length)
{ for (int i = 0; i < count; ++i) { blockIdx.x = i; run(given, out, weights, count, steps, length); } }
"""


@pytest.mark.parametrize("degree", [2, 4])
def test_the_gpu_kernel_has_the_bits_of_the_lanes(degree, systems, tmp_path):
    """Its text is C: compiled for the processor without contraction, it gives what the lanes give, to the last bit."""
    compiler = shutil.which("g++") or shutil.which("clang++")
    if not compiler:
        pytest.skip("no C++ compiler on this machine")
    given = cases([replace(system, degree=degree) for system in systems])
    (tmp_path / "cases.cpp").write_text(_ON_THE_PROCESSOR % gpu.source(given.model))
    options = ["-O1", "-march=native", "-ffp-contract=off", "-shared", "-fPIC", "-o", tmp_path / "cases.so"]
    subprocess.run([compiler, *options, tmp_path / "cases.cpp"], check=True, capture_output=True)
    steps, count = int(given.steps(DAYS).max()), len(given)
    out, weights = np.empty((20 + accumulate.KEPT, count)), turn_weights(steps, DAYS)
    columns = np.ascontiguousarray(given.columns)
    pointers = [array.ctypes.data_as(ctypes.c_void_p) for array in (columns, out, weights)]
    length = ctypes.c_double(DAYS * DAY_S / steps)
    ctypes.CDLL(str(tmp_path / "cases.so")).all(*pointers, count, steps, length)
    ours = accumulated(given, DAYS, steps)
    assert np.array_equal(2.0 * np.pi / out[22], ours.period_s)
    assert np.array_equal(out[:10], ours.state[:10])


def test_a_machine_without_a_gpu_says_so_in_a_line(systems):
    try:
        gpu.cupy()
    except InputError as error:
        assert "\n" not in str(error) and "choose the backend threads" in str(error)
        return
    given = cases(systems)
    assert same(gpu.accumulated(given, DAYS), accumulated(given, DAYS))
