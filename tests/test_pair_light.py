"""Fast brightness of a pair against closed forms, sums over facets and rays; red noise against its dense covariance."""

from dataclasses import replace
from math import cos, log, pi, sin, tan

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.stats import multivariate_normal

from binarydyn.dynamics import simulate
from binarydyn.impact import impact_on
from binarydyn.photometry.between_steps import places_between
from binarydyn.photometry.ellipsoid_light import light_of_ellipsoids
from binarydyn.photometry.nodes import A_TURN, Nodes
from binarydyn.photometry.noise_fit import minus_two_ln, noise_size
from binarydyn.photometry.pair_light import LitRuns, light_of_members
from binarydyn.photometry.red_noise import LightNoise, red_noise
from binarydyn.relaxed.start import start
from binarydyn.scenario import example
from binarydyn.sky.figure import Figure
from binarydyn.sky.geometry import Sight, Sky
from binarydyn.sky.light_curve import light_curve_of
from binarydyn.sky.missing_light import disc_points, light_of_ellipsoid, missing_of_ellipsoids
from binarydyn.sky.motion_between import MotionBetween

DAYS = 3.0
STEPS_AN_ORBIT = 14.0
"""As the splitting makes them."""


def lines(angle, count=1):
    return np.tile([1.0, 0.0, 0.0], (count, 1)), np.tile([cos(angle), sin(angle), 0.0], (count, 1))


def turned(count, seed=0):
    return np.ascontiguousarray(Rotation.random(count, random_state=seed).as_matrix())


@pytest.mark.parametrize("degrees", [0.0, 1e-4, 20.0, 60.0, 90.0, 130.0, 175.0])
def test_a_sphere_has_the_phase_functions_of_both_laws(degrees):
    """Lambert: 2/3 [sin a + (pi - a) cos a]; Lommel-Seeliger: pi/2 [1 - sin(a/2) tan(a/2) ln cot(a/4)] (handbooks)."""
    a = np.radians(degrees)
    lambert = 2.0 / 3.0 * (sin(a) + (pi - a) * cos(a))
    seeliger = pi / 2.0 * (1.0 - sin(a / 2) * tan(a / 2) * log(1.0 / tan(a / 4)) if a else 1.0)
    found = light_of_ellipsoids(turned(1), np.full(3, 2.0), *lines(a))
    np.testing.assert_allclose(found[0], 4.0 * np.array([seeliger, lambert]), rtol=1e-9)


def test_an_ellipsoid_seen_from_the_sun_shows_half_its_outline():
    """mu mu0/(mu + mu0) is mu/2 there; the outline's area is pi abc sqrt(sum (n_i/a_i)^2) (any handbook)."""
    axes, semi = turned(50), np.array([3.0, 2.0, 1.0])
    normal = axes.transpose(0, 2, 1) @ [1.0, 0.0, 0.0]
    area = pi * semi.prod() * np.sqrt(np.sum((normal / semi) ** 2, axis=1))
    np.testing.assert_allclose(light_of_ellipsoids(axes, semi, *lines(0.0, 50))[:, 0], 0.5 * area, rtol=1e-12)


def test_an_ellipsoid_lit_from_behind_is_dark():
    for axes in (turned(1), np.eye(3)[None]):
        assert np.abs(light_of_ellipsoids(axes, np.array([3.0, 2.0, 1.0]), *lines(pi))).max() < 1e-6


@pytest.mark.parametrize("degrees", [5.0, 60.0, 110.0])
@pytest.mark.parametrize("semi, tolerance", [((1.5, 1.2, 1.0), 1e-4), ((2.5, 1.5, 1.0), 1.5e-3)])
def test_ellipsoids_are_those_of_rays_through_their_outline(degrees, semi, tolerance):
    """100 000 rays leave 1e-5 of the light of a full outline, some 1e-4 of a narrow crescent's."""
    axes, (sun, seen), disc = turned(20, 3), lines(np.radians(degrees), 20), disc_points(100_000)
    wanted = np.zeros((20, 2))
    light_of_ellipsoid(axes, np.array(semi), seen, sun, disc, wanted)
    np.testing.assert_allclose(light_of_ellipsoids(axes, np.array(semi), sun, seen), wanted, rtol=tolerance)


@pytest.fixture(scope="module")
def pair():
    """The built-in one after its impact: a run with samples close together, and one with those of the splitting."""
    scenario = example()
    begun = start(scenario)
    hit = impact_on(begun.system, scenario)
    spacing = begun.period_h * 60.0 / STEPS_AN_ORBIT
    runs = [simulate(hit.system, DAYS, every_minutes=minutes, state=hit.state) for minutes in (5.0, spacing)]
    back = simulate(begun.system, -DAYS, every_minutes=spacing)
    sky = Sky.of(scenario)
    return *runs, back, Sight(sky, -DAYS * 86400.0 - 7200.0, DAYS * 86400.0 + 7200.0)


def lit_runs(run, count=1):
    semi = [Figure.of(body).semi_axes_m for body in (run.system.primary, run.system.secondary)]
    order = np.argsort(np.abs(run.time_s))
    time, y = run.time_s[order], np.ascontiguousarray(run.y[order])
    told = (np.repeat(part[None], count, axis=0) for part in (y, *semi, np.eye(3)))
    samples, one, two, turns = told
    return LitRuns(samples, float(time[0]), float(time[1] - time[0]), one, two, turns)


def instants(count=600):
    return np.sort(np.random.default_rng(5).uniform(0.0, DAYS * 86400.0, count))


def test_bodies_between_long_steps_are_where_short_ones_have_them(pair):
    """To what matters for light: 0.02 m of 800 m, 2e-4 rad of the primary, which makes 0.01 mmag, 1e-5 rad of the
    secondary."""
    fine, coarse, _, _ = pair
    time, count = instants(), 600
    position, axes1, axes2 = np.empty((count, 3)), np.empty((count, 3, 3)), np.empty((count, 3, 3))
    places_between(coarse.y, 0.0, coarse.time_s[1], time, position, axes1, axes2)
    wanted = MotionBetween(fine).places(time)
    assert np.abs(position - wanted.position_m).max() < 0.02
    assert np.abs(axes1 - wanted.axes1).max() < 2e-4
    assert np.abs(axes2 - wanted.axes2).max() < 1e-5


@pytest.mark.parametrize("law, column, outside", [("lommel_seeliger", 0, 0.1), ("lambert", 1, 0.02)])
def test_a_pair_has_the_light_curve_of_its_facets(pair, law, column, outside):
    """Against sky/light_curve.py with 8000 facets, which share a grain of a third of a facet in events: outside of
    events 0.04 mmag rms, in events 0.35 (measured)."""
    fine, coarse, _, sight = pair
    time = instants()
    light = light_of_members(lit_runs(coarse), time, sight.sunward(time), sight.earthward(time))
    curve = light_curve_of(fine, sight.sky, time, law, facets=8000)
    off = -2500.0 * np.log10(light.flux()[0, :, column] / curve.brightness_m2.sum(axis=1))
    event = light.missing_m2[0].any(axis=(1, 2))
    assert 0.15 < event.mean() < 0.6
    assert off[~event].std() < outside and abs(off[~event].mean()) < 1.0
    assert off[event].std() < 0.7 and np.abs(off[event]).max() < 4.0
    assert abs(off[event].mean() - off[~event].mean()) < 0.15
    depth = 2500.0 * np.log10(light.whole_m2[0, :, :, column].sum(axis=1) / light.flux()[0, :, column])
    assert depth.max() > 30.0


def test_whole_bodies_between_nodes_are_those_at_every_instant(pair):
    """0.06 mmag are expected of 20 mmag in two waves a turn (nodes.py); two nights and a lonely point, in no order."""
    _, coarse, _, sight = pair
    time = np.concatenate([np.arange(200.0) * 90.0, 90_000.0 + np.arange(200.0) * 90.0, [150_000.0]])
    time = np.random.default_rng(1).permutation(time)
    lit, spin_s = (sight.sunward(time), sight.earthward(time)), example().primary.spin_period_h * 3600.0
    every, nodes = (light_of_members(lit_runs(coarse), time, *lit, node_s=node_s) for node_s in (0.0, spin_s / A_TURN))
    assert len(Nodes.of(time, spin_s / A_TURN).time_s) < len(time) / 4
    off = -2500.0 * np.log10(nodes.flux() / every.flux())
    assert np.ptp(every.whole_m2.sum(axis=2)[..., 0]) > 0.01 * every.whole_m2.sum(axis=2)[..., 0].mean()
    assert np.abs(off).max() < 0.1
    assert np.array_equal(nodes.missing_m2, every.missing_m2)


def test_a_run_backwards_is_read_as_well(pair):
    _, _, back, sight = pair
    time = -instants(100)
    light = light_of_members(lit_runs(back), time, sight.sunward(time), sight.earthward(time))
    curve = light_curve_of(back, sight.sky, time, facets=8000)
    off = -2500.0 * np.log10(light.flux()[0, :, 0] / curve.brightness_m2.sum(axis=1))
    assert off.std() < 0.7


def test_turned_lines_are_lines_of_a_turned_sky_and_threads_change_nothing(pair):
    _, coarse, _, sight = pair
    time, turn = instants(60), Rotation.from_rotvec([0.02, -0.03, 0.1]).as_matrix()
    sun, seen = sight.sunward(time), sight.earthward(time)
    three = lit_runs(coarse, 3)
    three.turns[1] = turn
    found = light_of_members(three, time, sun, seen)
    again = light_of_members(three, time, sun, seen, workers=2)
    other = light_of_members(lit_runs(coarse), time, sun @ turn.T, seen @ turn.T)
    np.testing.assert_allclose(found.flux()[1], other.flux()[0], rtol=1e-12)
    assert np.array_equal(found.whole_m2, again.whole_m2) and np.array_equal(found.missing_m2, again.missing_m2)
    assert np.abs(found.flux()[1] / found.flux()[0] - 1.0).max() > 1e-3


def test_light_in_events_is_smooth_where_rays_that_count_or_not_jump(pair):
    """Sizes in steps of 0.6 % about the secondary's: what a cubic leaves, against that of sky/missing_light.py."""
    _, coarse, _, sight = pair
    time, size = instants(300), 1.0 + np.linspace(-0.018, 0.018, 7)
    seven = lit_runs(coarse, 7)
    seven = replace(seven, secondary_m=seven.secondary_m * size[:, None])
    lit = sight.sunward(time), sight.earthward(time)
    light = light_of_members(seven, time, *lit)
    event = light.missing_m2[3].any(axis=(1, 2))
    soft = -2500.0 * np.log10(light.flux()[:, event, 0])
    places = MotionBetween(coarse).places(time[event])
    hard = []
    for semi in seven.secondary_m:
        found = np.zeros((event.sum(), 2))
        front = np.sum(places.position_m * lit[1][event], axis=1) > 0.0
        told = (places.centre1_m, places.centre2_m, places.axes1, places.axes2, seven.primary_m[0], semi)
        missing_of_ellipsoids(*told, lit[1][event], lit[0][event], front, False, disc_points(128), found)
        hard.append(1085.7 * found[:, 0] / light.whole_m2[3, event, :, 0].sum(axis=1))
    assert 0.01 < _off_a_cubic(size, np.array(hard)) < 1.0
    assert _off_a_cubic(size, soft) < 0.1 * _off_a_cubic(size, np.array(hard))


def _off_a_cubic(x, y):
    return np.std(y - np.polyval(np.polyfit(x - 1.0, y, 3)[:, None], x[:, None] - 1.0))


def test_a_darker_secondary_gives_less(pair):
    _, coarse, _, sight = pair
    time = instants(30)
    light = light_of_members(lit_runs(coarse, 2), time, sight.sunward(time), sight.earthward(time))
    left = light.whole_m2 - light.missing_m2
    flux = light.flux(np.array([1.0, 0.5]))
    np.testing.assert_allclose(flux[0] - flux[1], 0.5 * left[0, :, 1], rtol=1e-9)


def noise_of(count=40, seed=2):
    """Two runs of points in no order, uneven times, two columns; and the dense covariance of 0.9, 0.013 mag, 700 s."""
    random = np.random.default_rng(seed)
    time, run = random.uniform(0.0, 7000.0, count), random.integers(2, size=count)
    sigma, columns = random.uniform(0.005, 0.02, count), random.normal(0.0, 0.05, (count, 2))
    apart = np.exp(-np.abs(time[:, None] - time) / 700.0) * (run[:, None] == run)
    dense = np.diag((0.9 * sigma) ** 2) + 0.013**2 * apart + columns @ columns.T
    return LightNoise.of(sigma, time, run, columns), dense, random


def test_red_noise_is_weighed_as_by_its_dense_covariance():
    noise, dense, random = noise_of()
    weighing, a = noise.at(0.9, 0.013, 700.0), random.normal(0.0, 0.01, (3, 40, 4))
    wanted = np.linalg.solve(dense, a)
    np.testing.assert_allclose(weighing.applied(a), wanted, rtol=1e-9, atol=1e-9 * np.abs(wanted).max())
    np.testing.assert_allclose(weighing.applied(a[0]), wanted[0], rtol=1e-9, atol=1e-9 * np.abs(wanted).max())
    np.testing.assert_allclose(weighing.gram(a), a.transpose(0, 2, 1) @ wanted, rtol=1e-9, atol=1e-7)
    assert weighing.ln_det == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-9)


def test_the_marginal_likelihood_is_that_of_the_whole_covariance():
    """Slopes of one prior sigma add J J^T to C; scipy's normal density."""
    noise, dense, random = noise_of()
    residual, slopes = random.normal(0.0, 0.02, 40), random.normal(0.0, 0.02, (40, 3))
    found = minus_two_ln(noise.at(0.9, 0.013, 700.0), np.column_stack([residual, slopes]))
    density = multivariate_normal(np.zeros(40), dense + slopes @ slopes.T).logpdf(residual)
    assert found == pytest.approx(-2.0 * density - 40.0 * log(2.0 * pi), abs=1e-8)


def test_drawn_red_noise_has_its_covariance_and_its_numbers_are_found_again():
    random, time = np.random.default_rng(9), np.arange(1500) * 120.0
    run = np.repeat([0, 1, 2], 500)
    drawn = np.array([red_noise(time, run, 0.01, 1200.0, random) for _ in range(60)])
    assert drawn.std() == pytest.approx(0.01, rel=0.03)
    for lag in (1, 10):
        pairs = (drawn[:, :-lag] * drawn[:, lag:])[:, run[:-lag] == run[lag:]]
        assert pairs.mean() / 0.01**2 == pytest.approx(np.exp(-lag * 0.1), abs=0.04)
    across = drawn[:, 499] * drawn[:, 500]
    assert abs(across.mean()) / 0.01**2 < 4.0 / np.sqrt(60.0)
    noise = LightNoise.of(np.full(1500, 0.01), time, run, np.zeros((1500, 0)))
    sizes = [noise_size(noise, one + 0.01 * random.standard_normal(1500)) for one in drawn[:10]]
    assert np.mean([size.amplitude_mag for size in sizes]) == pytest.approx(0.01, rel=0.1)
    assert np.median([size.time_s for size in sizes]) == pytest.approx(1200.0, rel=0.25)
    white = noise_size(noise, 0.01 * random.standard_normal(1500))
    assert white.amplitude_mag < 0.003 and white.scale == pytest.approx(1.0, abs=0.08)
