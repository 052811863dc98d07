"""Hits on a mesh: over which ground the normal is averaged, and the error that the mesh's roughness leaves."""

import json
from dataclasses import replace

import meshes
import numpy as np
import pytest
from short_sweeps import HIT

from binarydyn.batch.summary import summary_rows
from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.commands import main
from binarydyn.ensembles import rows_of
from binarydyn.impact import ImpactSpec, impact_on, orbit_axes, slopes_about
from binarydyn.impact.footprint import expected_radius_m
from binarydyn.impact.leverage import leverage
from binarydyn.prediction import predict
from binarydyn.prediction.ground_error import more_s
from binarydyn.relaxed.start import start
from binarydyn.sampling import Grid
from binarydyn.scenario import Direction, Impactor, MomentumTransfer, example, load, varied
from binarydyn.vectors import rotation

OFFSET = "impactor.aim_offset_m.0"


@pytest.fixture
def written(tmp_path):
    """A scenario of the short pair whose secondary is a lumpy mesh of 8 n^2 facets, with more in [impactor]."""

    def write(more: str = "", transfer: str = "beta = 2.2", n: int = 12, aim_m: float = 0.0, days: float = 6.0):
        (tmp_path / "lumps.obj").write_text(meshes.obj_text(*meshes.lumpy(n, 3, 55.0)))
        text = HIT.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "lumps.obj", unit = "m"}')
        text = text.replace("= 6.0", f"= {days}")
        file = tmp_path / "mesh.toml"
        file.write_text(f"{text}aim_offset_m = [{aim_m}, 0.0]\n{more}\n[momentum_transfer]\n{transfer}\n")
        return load(file)

    return write


def along_track(scenario, begun, aims) -> np.ndarray:
    """(n,) mm/s by hits at these offsets."""
    return np.array([impact_on(begun.system, varied(scenario, {OFFSET: u})).dv_along_track_mm_s for u in aims.tolist()])


def test_the_push_is_no_staircase_of_the_aim(written):
    """From metre to metre the velocity change changes evenly: a facet of 10 m makes steps of 2 % of it where it alone
    decides."""
    aims = np.arange(-8.0, 8.5)
    steps = {}
    for more in ("", "normal_radius_m = 0.0"):
        scenario = written(more)
        velocity_change = along_track(scenario, start(scenario), aims)
        steps[more] = np.abs(np.diff(velocity_change)) / np.abs(velocity_change).mean()
    assert steps["normal_radius_m = 0.0"].max() > 10.0 * np.median(steps["normal_radius_m = 0.0"])
    assert steps[""].max() < 2.0 * np.median(steps[""]) < 0.01


def test_full_and_brief_rows_agree_on_a_mesh(written):
    """The splitting errs by 0.04 s at most in regular motion."""
    scenario, design = written(), Grid.of({OFFSET: [-8.0, 0.0, 8.0]})
    summary = summary_rows(scenario, design, np.arange(3)).numbers["period_change_s"]
    full = sorted(rows_of(scenario, design, 1), key=lambda row: row.index)
    assert summary == pytest.approx([row.numbers["period_change_s"] for row in full], abs=0.04)


@pytest.mark.parametrize("name", ["perlite_sand", "sand_fly_ash"])
def test_the_radius_is_that_of_the_crater(written, name):
    """Of an impact straight down, which the crater of the prediction is for `vertical_beta`; gravity has no part in
    it."""
    scenario = written(transfer=f'material = {{name = "{name}"}}\noblique = "vertical_beta"', n=40)
    impact = impact_on(start(scenario).system, scenario)
    assert impact.site.normal_radius_m == pytest.approx(impact.released.scaled.crater_radius_m, rel=1e-12)


def test_the_radius_has_limits(written):
    """From the mesh's mean edge to half the mean radius; as given; none on a smooth secondary."""
    scenario = written(transfer='material = {name = "rock"}')
    system = start(scenario).system
    v, f = system.secondary.vertices_m, system.secondary.facets
    edges = [np.linalg.norm(v[f[:, i]] - v[f[:, i - 1]], axis=1).mean() for i in range(3)]
    assert impact_on(system, scenario).site.normal_radius_m == pytest.approx(np.mean(edges), rel=1e-12)
    wide = written(transfer='material = {name = "sand"}')
    mean_radius = (3.0 * system.secondary.volume_m3 / (4.0 * np.pi)) ** (1.0 / 3.0)
    assert impact_on(system, wide).site.normal_radius_m == pytest.approx(0.5 * mean_radius, rel=1e-12)
    given = impact_on(system, written("normal_radius_m = 0.0")).site
    assert given.normal_radius_m == 0.0 and np.array_equal(given.normal, given.hit.normal)
    smooth = replace(system, secondary=Ellipsoid((70.0, 61.5, 48.0), 2500.0))
    assert expected_radius_m(smooth.secondary, scenario.impactor, scenario.momentum_transfer) == 0.0


def test_what_infer_takes_is_the_same_normal(written):
    """The ejecta's axis without beta, for a material as for a given beta."""
    for transfer in ("beta = 2.2", 'material = {name = "sand"}'):
        scenario = written(transfer=transfer)
        system = start(scenario).system
        axis = orbit_axes(system.state) @ impact_on(system, scenario).released.axis
        assert np.allclose(leverage(system, scenario).ejecta[0], axis, atol=1e-14)


@pytest.mark.parametrize("radius", [0.0, None])
@pytest.mark.parametrize("rough", [0.0, 0.006])
def test_the_error_is_as_large_as_what_it_stands_for(radius, rough):
    """Meshes in and about an ellipsoid, smooth or with vertices shifted by 0.6 %, against the ellipsoid itself, whose
    normal is known: over 80 aims the deviation of the along-track momentum is one sigma, by a factor of 2."""
    exact = Ellipsoid((70.0, 61.5, 48.0), 2500.0)
    vertices, facets = meshes.ellipsoid_mesh(exact.semi_axes_m, 16)
    random = np.random.default_rng(8)
    vertices = vertices * (1.0 + rough * random.uniform(-1.0, 1.0, size=(len(vertices), 1)))
    scenario = example()
    system = start(scenario).system
    coarse = replace(system, secondary=Mesh(vertices, facets, 2500.0))
    away = []
    for u, v in random.uniform(-35.0, 35.0, size=(80, 2)):
        direction = Direction(along_track=-0.9, radial=0.3, normal=-0.25)
        hitter = Impactor(
            mass_kg=480.0, speed_km_s=5.4, direction=direction, aim_offset_m=(u, v), normal_radius_m=radius
        )
        spec = ImpactSpec(hitter, MomentumTransfer(beta=3.0))
        true, found = (impact_on(s, spec) for s in (replace(system, secondary=exact), coarse))
        if true.status != "hit" or found.status != "hit":
            continue
        slopes = slopes_about(coarse, coarse.state, spec, found.site)
        tilted = slopes.tilted_m_s[0] - slopes.taken_m_s[0]
        sigma = np.sqrt(0.5 * np.sum(tilted**2)) * coarse.secondary.mass_kg
        moved = (found.momentum_kg_m_s - true.momentum_kg_m_s) @ orbit_axes(system.state)[0]
        away.append(moved / sigma)
    assert len(away) > 50
    assert 0.5 < np.sqrt(np.mean(np.square(away))) < 2.0


def test_single_facets_are_told_in_seconds(written):
    """Against runs whose ejecta leave along the normal of a facet: the closed form is good to 15 % of the difference,
    as it leaves out what the torque does."""
    scenario = written("normal_radius_m = 0.0", days=60.0)
    begun, told = start(scenario), predict(scenario)
    slopes = slopes_about(begun.system, begun.system.state, scenario, told.impact.site)
    normals = begun.system.secondary.ground_about(told.impact.site.hit, slopes.radius_m).normals
    more = more_s(begun, slopes.taken_m_s, slopes.facets_m_s)
    order = np.argsort(more)
    for k in (order[0], order[-1]):
        normal = (rotation(begun.system.state.attitude2) @ normals[:, k]).tolist()
        named = written("normal_radius_m = 0.0", f"beta = 2.2\nejecta_direction = {{inertial = {normal}}}", days=60.0)
        difference = predict(named).period_change_s - told.period_change_s
        assert abs(difference) > 20.0 and more[k] == pytest.approx(difference, rel=0.15)
    assert told.ground.low_s < told.period_change_s < told.ground.high_s
    assert more[order[0]] < told.ground.low_s - told.period_change_s
    assert told.ground.high_s - told.period_change_s < more[order[-1]]


def test_the_pushes_of_a_material_are_those_of_whole_hits(written):
    """With the normal that was taken: the impact's own velocity change.  With the facet's: that of the impact that
    takes it."""
    for oblique in ("normal_component", "vertical_beta"):
        rock = f'material = {{name = "weakly_cemented_basalt"}}\noblique = "{oblique}"'
        wide, narrow = (written(f"normal_radius_m = {radius}", rock, aim_m=-4.0) for radius in (25.0, 0.0))
        system = start(wide).system
        found, alone = impact_on(system, wide), impact_on(system, narrow)
        slopes, axes = slopes_about(system, system.state, wide, found.site), orbit_axes(system.state)
        assert slopes.taken_m_s == pytest.approx(axes @ found.dv_m_s, rel=1e-12)
        normals = system.secondary.ground_about(found.site.hit, slopes.radius_m).normals
        own = np.argmax(alone.site.normal @ normals)
        assert slopes.facets_m_s[:, own] == pytest.approx(axes @ alone.dv_m_s, rel=1e-9)
        assert np.abs(slopes.facets_m_s[:, own] - slopes.taken_m_s).max() > 1e-6


def test_predict_counts_the_ground_in_the_error(written, tmp_path, capsys):
    """Beside the headline, in the table, and warned of where it is above one per cent; none of it for an ellipsoid."""
    written("normal_radius_m = 0.0", aim_m=-4.0)
    assert main(["predict", str(tmp_path / "mesh.toml"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    error = found["period_change_ground_error_s"]
    assert error > 0.01 * abs(found["period_change_s"]) and any("steep" in line for line in found["warnings"])
    assert main(["predict", str(tmp_path / "mesh.toml")]) == 0
    headline = capsys.readouterr().out.splitlines()[1]
    both = np.hypot(error, found["period_change_fit_error_s"])
    assert f"error {both:.2g} s: fit error" in headline and f"slope of the ground {error:.2g} s" in headline
    fine = predict(written(n=40))
    assert 0.0 < fine.numbers()["period_change_ground_error_s"] < 1.0
    assert not any("steep" in line for line in fine.warnings)
    smooth = predict(varied(example(), {"simulation.days_before": 3.0, "simulation.days_after": 3.0})).numbers()
    assert smooth["period_change_ground_error_s"] is None and smooth["normal_radius_m"] == 0.0
