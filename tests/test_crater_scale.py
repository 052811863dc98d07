"""The surface normal at the scale of a crater: spheres, ellipsoids and bumpy ground, and what is not known of it."""

import json

import meshes
import numpy as np
import pytest

from binarydyn.bodies import Ellipsoid, Inclusion, Layered, Mesh
from binarydyn.commands import main
from binarydyn.impact import impact_on, is_sure, tilts_in_orbit
from binarydyn.impact.leverage import leverage
from binarydyn.inference.infer import inverted, prior
from binarydyn.inference.surrogate_runs import related
from binarydyn.prediction import predict
from binarydyn.relaxed import build
from binarydyn.scenario import example

AXES = (70.0, 61.5, 48.0)
SHORT = {"simulation.days_before": 6.0, "simulation.days_after": 6.0}


def places(axes, count=30, seed=6):
    body, random = Ellipsoid(axes, 2500.0), np.random.default_rng(seed)
    for _ in range(count):
        yield body, body.at_longitude_latitude(random.uniform(0, 360), random.uniform(-80, 80))


def test_on_a_sphere_it_is_the_normal_at_the_point():
    for body, hit in places((60.0, 60.0, 60.0)):
        for radius in (1.0, 20.0, 45.0):
            assert body.normal_about(hit, radius) == pytest.approx(hit.point_m / 60.0, abs=1e-14)


def test_on_a_spheroid_it_leans_by_the_gradient_of_the_curvature():
    """R^2/8 d(k1 + k2)/ds along a meridian x = a cos u, z = c sin u, with k1 = a c/w^3, k2 = c/(a w), ds = w du and
    w^2 = a^2 sin^2 u + c^2 cos^2 u (do Carmo 1976, Differential Geometry of Curves and Surfaces, ch. 3, from memory).
    """
    a, c = 70.0, 45.0
    body = Ellipsoid((a, a, c), 2500.0)
    for u in np.radians([10.0, 35.0, 60.0, 80.0]):
        hit = body.at_longitude_latitude(0.0, np.degrees(np.arctan2(c * np.sin(u), a * np.cos(u))))

        def curvature(u):
            w = np.sqrt(a**2 * np.sin(u) ** 2 + c**2 * np.cos(u) ** 2)
            return a * c / w**3 + c / (a * w), w

        slope = (curvature(u + 1e-5)[0] - curvature(u - 1e-5)[0]) / (2e-5 * curvature(u)[1])
        north = np.array([-a * np.sin(u), 0.0, c * np.cos(u)]) / curvature(u)[1]
        for radius, off in ((1.0, 1e-3), (4.0, 0.02)):
            lean = (body.normal_about(hit, radius) - hit.normal) @ north
            assert lean == pytest.approx(radius**2 / 8.0 * slope, rel=off)


def test_on_an_ellipsoid_it_is_that_of_fine_meshes():
    """Of its inscribed mesh, by the areas of facets: four times nearer with each halving of the facets."""
    finer = [Mesh(*meshes.ellipsoid_mesh(AXES, n), 2500.0) for n in (12, 24)]
    off, whole = np.zeros((2, 5)), Ellipsoid(AXES, 2500.0)
    core = Layered(whole, (Inclusion.along_axes((5.0, 5.0, 5.0), 4000.0, (20.0, 9.0, 0.0)),))
    for k, (body, hit) in enumerate(places(AXES, 5)):
        for row, mesh in enumerate(finer):
            own = mesh.hit(hit.point_m + 50.0 * hit.normal, -hit.normal)
            off[row, k] = np.linalg.norm(mesh.normal_about(own, 25.0) - body.normal_about(hit, 25.0))
        shifted = core.hit(core.axes @ (hit.point_m - core.centre_m) * 1.5, core.axes @ -hit.normal)
        own = body.hit(core.axes.T @ shifted.point_m + core.centre_m + 1e-6 * hit.normal, -hit.normal)
        there = core.axes @ body.normal_about(own, 25.0)
        assert core.normal_about(shifted, 25.0) == pytest.approx(there, abs=1e-9)
    assert np.sqrt(np.mean(off[1] ** 2)) < 0.35 * np.sqrt(np.mean(off[0] ** 2)) and off[1].max() < 2e-3


def test_on_bumpy_ground_it_converges_with_the_crater():
    """A lumpy body whose vertices are moved in and out at random, against the same body without that: the wider the
    crater the more bumps it holds, and the less its normal is off."""
    vertices, facets = meshes.lumpy(24, 3, 55.0)
    bumps = 1.0 + 0.004 * np.random.default_rng(9).uniform(-1.0, 1.0, (len(vertices), 1))
    centre = vertices.mean(axis=0)
    rough, smooth = (Mesh((vertices - centre) * each, facets, 2500.0) for each in (bumps, 1.0))
    off = []
    for radius in (6.0, 12.0, 24.0):
        away = []
        for longitude in range(0, 360, 18):
            hits = [body.at_longitude_latitude(float(longitude), 15.0) for body in (rough, smooth)]
            one, two = (b.axes.T @ b.normal_about(h, radius) for b, h in zip((rough, smooth), hits, strict=True))
            away.append(np.linalg.norm(one - two))
        off.append(float(np.sqrt(np.mean(np.square(away)))))
    assert all(wide < 0.7 * narrow for narrow, wide in zip(off, off[1:], strict=False)), off


def test_an_ellipsoid_hit_with_a_crater():
    """Sites, levers and rows of arrays take the same normal; without a radius the one at the point, as ever."""
    scenario = example().replace({"impactor.normal_radius_m": 25.0, "impactor.aim_offset_m": [20.0, 10.0]})
    system = build(scenario)
    site = impact_on(system, scenario).site
    body = system.secondary
    assert site.normal == pytest.approx(body.normal_about(site.hit, 25.0), abs=1e-15)
    point = Ellipsoid(body.semi_axes_m, 1.0).hit(site.point_m * 1.2, -site.point_m)
    lean = np.degrees(np.linalg.norm(site.normal - point.normal))
    assert 0.3 < lean < 5.0
    plain = impact_on(system, example().replace({"impactor.aim_offset_m": [20.0, 10.0]})).site
    assert plain.normal == pytest.approx(point.normal, abs=1e-12)
    numbers = predict(scenario.replace(SHORT)).numbers()
    assert numbers["normal_radius_m"] == 25.0


def test_a_stated_slope_is_in_the_error_of_the_headline(tmp_path, capsys):
    """As far as the period moves if the axis is tilted that way by runs: the root of both squares, to 15 %."""
    sigma = 4.0
    scenario = example().replace(SHORT | {"impactor.normal_sigma_deg": sigma})
    path = tmp_path / "slope.toml"
    scenario.to_toml(path)
    assert main(["predict", str(path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    moved = []
    for azimuth in (0.0, 90.0):
        sides = [
            predict(example().replace(SHORT | {"momentum_transfer.ejecta_tilt_deg": sigma}
                    | {"momentum_transfer.ejecta_tilt_azimuth_deg": azimuth + turn})).period_change_s
            for turn in (0.0, 180.0)
        ]  # fmt: skip
        moved += [side - found["period_change_s"] for side in sides]
    expected = np.sqrt(0.5 * np.sum(np.square(moved)))
    assert found["period_change_ground_error_s"] == pytest.approx(expected, rel=0.15)
    assert found["period_change_ground_low_s"] is None
    assert main(["predict", str(path)]) == 0
    assert f"slope of the ground {found['period_change_ground_error_s']:.2g} s" in capsys.readouterr().out


def test_a_stated_slope_widens_beta_and_covers():
    """Truths with slopes drawn as stated and a beta of 2.2, measured without error: 68 % of them within the middle 68 %
    of what is inferred, by 3 sigma of 400 truths; none wider without a slope."""
    scenario = example().replace({"impactor.normal_sigma_deg": 6.0, "impactor.aim_offset_m": [22.0, 12.0]})
    surrogate = related(scenario, -1400.0, 2.0, runs=8)
    system = surrogate.nominal.system
    assert not is_sure(system.secondary, scenario.impactor)
    draws = prior(surrogate, 4000, seed=3)
    lever, momentum, mass = draws.lever, draws.momentum_kg_m_s, draws.pair.secondary_kg
    assert lever.ejecta.std() > 0.0
    nominal = impact_on(system, scenario)
    tilts = tilts_in_orbit(system, system.state, scenario, nominal.site)
    assert np.linalg.norm(tilts, axis=1) == pytest.approx(np.tan(np.radians([6.0, 6.0])), rel=1e-12)
    random, inside = np.random.default_rng(8), 0
    flight = lever.flight[0]
    straight = surrogate.scenario.replace({"impactor.normal_sigma_deg": 0.0})
    axis = leverage(system, straight).ejecta[0]
    for _ in range(400):
        tilted = axis + random.standard_normal(2) @ tilts
        tilted /= np.linalg.norm(tilted)
        dv = momentum[0] / mass[0] * (flight[0] + 1.2 * (tilted @ flight) * tilted[0])
        low, high = np.quantile(lever.beta(np.full(4000, dv), mass, momentum), [0.16, 0.84])
        inside += low < 2.2 < high
    assert abs(inside / 400 - 0.68) < 3.0 * np.sqrt(0.68 * 0.32 / 400)
    found = inverted(surrogate, draws, -1400.0, 2.0)
    sure = inverted(surrogate, prior(related(straight, -1400.0, 2.0, runs=8), 4000, seed=3), -1400.0, 2.0)
    assert found.beta[found.well].std() > 3.0 * sure.beta[sure.well].std()
