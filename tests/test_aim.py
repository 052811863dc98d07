"""Aim and site: frames of the direction, rays and normals against trimesh, grazing hits, the figure of the aim."""

import re
from functools import cache
from types import SimpleNamespace

import meshes
import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation
from trimesh.ray.ray_triangle import ray_triangle_id

from binarydyn.bodies import Ellipsoid, Hit, Layered, Mesh
from binarydyn.bodies.inclusion import Inclusion
from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.impact import ImpactSpec, aim_axes, direction_in_space, ecliptic_axes, impact_on, orbit_axes
from binarydyn.motion.state import State, System
from binarydyn.plots.aim import aim_figure, sight
from binarydyn.prediction import predict
from binarydyn.scenario import Direction, Impactor, MomentumTransfer, MutualOrbit, Scenario, example, varied

PRIMARY = Ellipsoid((260.0, 250.0, 230.0), 2500.0)
STILL = np.array([1.0, 0.0, 0.0, 0.0])


def circular(secondary, attitude2=STILL) -> System:
    """r along x, v along y: t = y, r-hat = x, n = z."""
    speed = np.sqrt(System(PRIMARY, secondary, None).gm_m3_s2 / 900.0)
    position, velocity = np.array([900.0, 0.0, 0.0]), np.array([0.0, speed, 0.0])
    return System(PRIMARY, secondary, State(position, velocity, STILL, np.zeros(3), attitude2, np.zeros(3)))


def struck(system: System, direction: Direction, orbit=None, beta: float = 1.0, ejecta=None, **aim):
    impactor = Impactor(mass_kg=500.0, speed_km_s=6.0, direction=direction, **aim)
    return impact_on(system, ImpactSpec(impactor, MomentumTransfer(beta=beta, ejecta_direction=ejecta), None, orbit))


def orbit(longitude: float, latitude: float, ahead: float = 0.0) -> MutualOrbit:
    return MutualOrbit(
        separation_m=900.0,
        period_h=12.0,
        pole_longitude_deg=longitude,
        pole_latitude_deg=latitude,
        node_angle_deg=ahead,
    )


# Frames -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("longitude", "latitude", "ahead"), [(320.6, -78.6, 25.0), (40.0, 60.0, -170.0), (0, 90, 0)])
def test_ecliptic_axes_are_the_classical_rotation_of_an_orbit(longitude, latitude, ahead):
    """Node = longitude of the pole + 90 deg, inclination = 90 deg - its latitude, argument = node_angle_deg: the frame
    is R3(-node) R1(-inclination) R3(-argument) of the ecliptic one (textbook, orbital elements), by scipy."""
    turn = Rotation.from_euler("ZXZ", [longitude + 90.0, 90.0 - latitude, ahead], degrees=True)
    assert np.allclose(ecliptic_axes(orbit(longitude, latitude, ahead)), turn.as_matrix().T, atol=1e-14)


def test_one_direction_in_three_frames_is_one_hit():
    """The same unit vector told along-track, radial, normal, as x, y, z, and on the sky."""
    system, place = circular(Ellipsoid((90.0, 75.0, 55.0), 2500.0)), orbit(320.6, -78.6, 25.0)
    parts = np.array([-0.9, 0.3, -0.2])
    space = parts @ orbit_axes(system.state)
    x, y, z = ecliptic_axes(place).T @ space / np.linalg.norm(parts)
    sky = {
        "ecliptic_longitude_deg": np.degrees(np.arctan2(y, x)),
        "ecliptic_latitude_deg": np.degrees(np.arcsin(z)),
    }
    told = [
        Direction(along_track=parts[0], radial=parts[1], normal=parts[2]),
        Direction(inertial=tuple(3.0 * space)),
        Direction(**sky),
    ]
    assert [direction.frame for direction in told] == ["orbit", "inertial", "ecliptic"]
    hits = [struck(system, told[k], place, 2.0, told[2 - k], aim_offset_m=(12.0, -7.0)) for k in range(3)]
    for hit in hits[1:]:
        assert np.allclose(hit.momentum_kg_m_s, hits[0].momentum_kg_m_s, rtol=0, atol=1e-8)
        assert np.allclose(hit.site.point_m, hits[0].site.point_m, rtol=0, atol=1e-11)


def test_an_ecliptic_direction_needs_the_pole():
    system, sky = circular(PRIMARY), Direction(ecliptic_longitude_deg=10.0, ecliptic_latitude_deg=5.0)
    for without in (None, MutualOrbit(separation_m=900.0, period_h=12.0)):
        with pytest.raises(InputError, match="pole"):
            direction_in_space(sky, orbit_axes(system.state), without)


# Rays and normals against trimesh ----------------------------------------------------------------------------------


@cache
def lumpy() -> Mesh:
    return Mesh(*meshes.lumpy(12, 3, 70.0), 2500.0)


class EveryFacet:
    """In place of a spatial index, trimesh's first step: every facet may be met."""

    def __init__(self, mesh):
        self.bounds, self.count = mesh.bounds.ravel(), len(mesh.faces)

    def intersection(self, bounds):
        return range(self.count)


def check_rays(body: Mesh, count: int):
    """The site of an aim against trimesh's float64 rays: nearest point on the line of flight, to 1e-9 of the size, its
    facet's normal, and misses."""
    mesh = trimesh.Trimesh(body.vertices_m, body.facets, process=False)
    every = EveryFacet(mesh)
    random, size, missed = np.random.default_rng(4), body.bounding_radius_m, 0
    for turn in Rotation.random(count, rng=random):
        system = circular(body, np.roll(turn.as_quat(), 1))
        x, y, z = random.normal(size=3)
        direction = Direction(along_track=x, radial=-abs(y), normal=z)
        offset = random.uniform(-0.8 * size, 0.8 * size, size=2)
        impact = struck(system, direction, aim_offset_m=tuple(offset), grazing_deg=90.0, normal_radius_m=0.0)
        axes = orbit_axes(system.state)
        flight = np.array(direction.unit) @ axes
        start = turn.inv().apply(offset @ aim_axes(axes, flight) - 3.0 * size * flight)
        ahead = turn.inv().apply(flight)
        facets, _, points = ray_triangle_id(mesh.triangles, [start], [ahead], mesh.face_normals, every)
        assert (impact.status == "miss") == (len(points) == 0)
        if impact.status == "miss":
            missed += 1
            continue
        first = np.argmin((points - start) @ ahead)
        assert np.linalg.norm(impact.site.point_m - points[first]) < 1e-9 * size
        assert np.linalg.norm(impact.site.normal - mesh.face_normals[facets[first]]) < 1e-9
    assert 0.05 * count < missed < 0.9 * count


def test_sites_on_a_lumpy_mesh_against_trimesh():
    check_rays(lumpy(), 300)


def test_sites_on_a_real_shape_against_trimesh(shapes_folder):
    """(4769), scaled to a tenth."""
    full = Mesh.read(shapes_folder / "castalia_4769.tab", "km", density_kg_m3=2500.0)
    check_rays(Mesh(0.1 * full.vertices_m, full.facets, 2500.0), 100)


@pytest.mark.parametrize("radius", [0.0, 3.0, 8.0, 30.0, 1e4])
def test_mean_normal_against_trimesh(radius):
    """By area, of the parts of facets within the radius that face the same way: here of thousands of small pieces, by
    trimesh's division, areas and mid-times; the outer shape of a layered body likewise, in its own frame.

    A piece on the rim counts whole or not at all: the mean over N pieces is then off by about N^(-3/4)."""
    core = Inclusion.along_axes((20.0, 20.0, 20.0), 4000.0, (5.0, 3.0, 0.0))
    for body in (lumpy(), Layered(lumpy(), (core,))):
        mesh = trimesh.Trimesh(body.vertices_m, lumpy().facets, process=False)
        for longitude in (10.0, 130.0, 250.0):
            hit = body.at_longitude_latitude(longitude, 20.0)
            normal = body.normal_about(hit, radius)
            if radius == 0.0:
                assert np.allclose(normal, mesh.face_normals[hit.facet], atol=1e-12)
                continue
            mid_times = np.linalg.norm(mesh.triangles_center - hit.point_m, axis=1)
            touched = np.flatnonzero((mid_times < radius + 15.0) & (mesh.face_normals @ hit.normal > 0.0))
            points, pieces = mesh.vertices, mesh.faces[touched]
            for _ in range(5 if radius < 100.0 else 0):
                points, pieces = trimesh.remesh.subdivide(points, pieces)
            small = trimesh.Trimesh(points, pieces, process=False)
            near = np.linalg.norm(small.triangles_center - hit.point_m, axis=1) <= radius
            total = (small.area_faces[near, None] * small.face_normals[near]).sum(axis=0)
            limit = near.sum() ** -0.75 if radius < 100.0 else 1e-12
            assert np.allclose(normal, total / np.linalg.norm(total), atol=limit)
            ground = body.ground_about(hit, radius)
            assert ground.areas.sum() == pytest.approx(small.area_faces[near].sum(), rel=max(10.0 * limit, 1e-12))


def test_the_ground_within_a_facet_is_a_disc():
    """pi r^2 in the middle of a face, half of it at an edge, of a box; a quarter on each side of a corner of three."""
    body = Mesh(*meshes.box((40.0, 40.0, 40.0)), 2500.0)
    for place, share in (((20.0, -5.0, 7.0), 1.0), ((20.0, 20.0, 7.0), 1.0), ((20.0, 20.0, 20.0), 0.75)):
        hit = Hit(np.array(place), np.ones(3) / np.sqrt(3.0), 0.0, 0)
        assert body.ground_about(hit, 3.0).areas.sum() == pytest.approx(share * np.pi * 9.0, rel=1e-12)


def test_a_footprint_smooths_the_slope_of_a_bumpy_ball():
    """A ball whose vertices are shifted in and out by 1 %: a facet leans by some degrees, the mean over a footprint of
    many facets comes back to the direction of the point; the site stays where it is."""
    vertices, facets = meshes.sphere_mesh(30)
    bumps = 1.0 + 0.01 * np.random.default_rng(2).uniform(-1.0, 1.0, len(vertices))
    body = Mesh(80.0 * bumps[:, None] * vertices, facets, 2500.0)
    leans = {}
    for radius in (0.0, 25.0):
        sites = [
            struck(circular(body), Direction(along_track=-1.0), aim_offset_m=(u, 5.0), normal_radius_m=radius).site
            for u in np.linspace(-40.0, 40.0, 21)
        ]
        leans[radius] = np.degrees([np.arccos(s.normal @ s.point_m / np.linalg.norm(s.point_m)) for s in sites])
    assert leans[0.0].mean() > 5.0 * leans[25.0].mean() and leans[25.0].max() < 3.0


# Outcomes ---------------------------------------------------------------------------------------------------------


def test_a_grazing_hit_is_an_outcome_with_a_name():
    """On a ball sin i = offset/radius.  Beyond grazing_deg the impactor's own momentum alone is received, whatever
    beta; grazing_deg = 90 leaves it an impact."""
    system, head_on = circular(Ellipsoid((80.0, 80.0, 80.0), 2500.0)), Direction(along_track=-1.0)
    for degrees, status in ((74.9, "hit"), (75.1, "grazing")):
        impact = struck(system, head_on, beta=3.0, aim_offset_m=(80.0 * np.sin(np.radians(degrees)), 0.0))
        assert impact.status == status
    assert np.allclose(impact.momentum_kg_m_s, [0.0, -500.0 * 6000.0, 0.0]) and not impact.audit.ejecta_kg_m_s.any()
    assert impact.released.beta == impact.beta_along_normal == 1.0
    assert "grazing hit" in impact.reason and impact.reason in impact.warnings
    aim = {"aim_offset_m": (80.0 * np.sin(np.radians(75.1)), 0.0)}
    assert struck(system, head_on, beta=3.0, grazing_deg=90.0, **aim).status == "hit"
    assert struck(system, head_on, grazing_deg=30.0, aim_offset_m=(45.0, 0.0)).status == "grazing"


def short(**changes: float) -> Scenario:
    return varied(example(), {"simulation.days_before": 3.0, "simulation.days_after": 3.0} | changes)


def test_predict_names_a_grazing_hit(tmp_path, capsys):
    file = tmp_path / "grazing.toml"
    file.write_text(short(**{"impactor.aim_offset_m.1": 47.0}).text)
    assert main(["predict", str(file)]) == 1
    said = capsys.readouterr().out
    assert said.splitlines()[0].endswith(": grazing") and "warning: grazing hit" in said
    assert predict(short(**{"impactor.aim_offset_m.1": 60.0})).status == "miss"


def test_predict_tells_what_a_material_does(tmp_path, capsys):
    """The flat table has both betas, the crater and the masses, and those printed add up to the last digit of the
    largest; without a material what it alone knows is unknown."""
    file = tmp_path / "perlite.toml"
    text = short().text.replace("beta = 2.2", 'material = {name = "perlite_sand", c1 = 0.65}')
    file.write_text(text)
    numbers = predict(Scenario.from_text(text)).numbers()
    assert numbers["beta_system"] > 1.0 and numbers["beta_low"] < numbers["beta"] < numbers["beta_high"]
    assert numbers["crater_regime"] == "strength" and 5.0 < numbers["crater_radius_m"] < 20.0
    assert numbers["mass_captured_kg"] + numbers["mass_lost_kg"] == pytest.approx(numbers["ejecta_mass_kg"], rel=1e-12)
    assert main(["predict", str(file)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "crater radius" in said and "beta, 16 % quantile" in said and "beta, 84 % quantile" in said
    masses = (
        r"ejecta mass (\S+) kg; .*falls back (\S+) kg; .*stays in the system (\S+) kg; .*leaves the system (\S+) kg"
    )
    launched, *parts = (float(mass) for mass in re.search(masses, said).groups())
    assert min(parts) > 0.0 and sum(parts) == pytest.approx(launched, abs=4e-4 * launched)
    given = predict(short()).numbers()
    assert given["beta"] == given["beta_system"] == 2.2 and given["crater_regime"] == ""
    assert all(given[name] is None for name in ("crater_radius_m", "beta_low", "ejecta_mass_kg", "mass_lost_kg"))


# The figure -------------------------------------------------------------------------------------------------------


def aimed(body, **impactor):
    """What the figure needs of a prediction: the built-in impactor, aimed anew at a body."""
    data = example().to_dict()
    hitter = {name: value for name, value in data["impactor"].items() if name != "aim_offset_m"} | impactor
    scenario, system = Scenario.from_dict(data | {"impactor": hitter}, "aimed"), circular(body)
    return SimpleNamespace(
        scenario=scenario, start=SimpleNamespace(system=system), impact=impact_on(system, scenario), before=None
    )


def test_the_figure_shows_aim_scatter_site_and_slopes():
    """Drawn ellipses reach k sigma from the aim point; the site lies on the aim point, since the flight is straight;
    u grows to the left: seen along U with v up, right is U x v = -u."""
    prediction = aimed(Ellipsoid((70.0, 61.5, 48.0), 2500.0), aim_offset_m=[15.0, 10.0], aim_sigma_m=[6.0, 9.0])
    view = sight(prediction)
    assert np.allclose(np.cross(view.flight, view.plane[1]), -view.plane[0], atol=1e-14)
    assert np.allclose(view.site_m, [15.0, 10.0], atol=1e-9)
    ax = aim_figure(prediction).axes[0]
    assert ax.get_xlim()[0] > ax.get_xlim()[1] and ax.get_ylim()[0] < ax.get_ylim()[1]
    curves = [line.get_xydata() for line in ax.get_lines() if len(line.get_xdata()) == 181]
    ellipses = curves[1:]  # the first is the outline
    assert np.allclose([np.ptp(xy, axis=0) for xy in ellipses], [[12, 18], [24, 36], [36, 54]], rtol=1e-3)
    assert np.allclose([(xy.max(axis=0) + xy.min(axis=0)) / 2 for xy in ellipses], [[15, 10]] * 3, atol=1e-9)
    slopes = ax.collections[0].get_array()
    assert np.nanmin(slopes) < 2.0 and np.nanmax(slopes) > 80.0
    # For an impact from the front the orbit normal points up, and outward to the left.
    assert view.orbit_axes[2, 1] > 0.9 and view.orbit_axes[1, 0] > 0.9


@pytest.mark.parametrize("kind", ["site", "mesh", "miss", "layered"])
def test_the_figure_of_other_aims(kind):
    """A site named by coordinates has no aim point; a mesh is drawn by the facets that face the impactor, the steepest
    ones darkest; what misses is drawn too."""
    ball = Ellipsoid((70.0, 61.5, 48.0), 2500.0)
    core = Inclusion.along_axes((20.0, 20.0, 20.0), 4000.0, (5.0, 3.0, 0.0))
    body = {"mesh": lumpy(), "layered": Layered(lumpy(), (core,))}.get(kind, ball)
    aim = {"site": {"site": {"longitude_deg": 80.0, "latitude_deg": 0.0}}, "miss": {"aim_offset_m": [200.0, 0.0]}}
    prediction = aimed(body, **aim.get(kind, {}))
    ax = aim_figure(prediction).axes[0]
    labels = ax.get_legend_handles_labels()[1]
    assert ("aim point" in labels) == (kind != "site") and ("site" in labels) == (kind != "miss")
    if kind in ("mesh", "layered"):
        mesh = trimesh.Trimesh(body.vertices_m, lumpy().facets, process=False)
        cosines = -(mesh.face_normals @ sight(prediction).flight)
        shown = np.sort(ax.collections[0].get_array())
        assert np.allclose(shown, np.sort(np.degrees(np.arccos(cosines[cosines > 0.0]))), atol=1e-6)
    if kind == "miss":
        assert prediction.impact.status == "miss" and ax.get_xlim()[0] > 200.0


def test_the_command_writes_the_figure_and_refuses_early(tmp_path, capsys):
    file = tmp_path / "hit.toml"
    file.write_text(short().text)
    assert main(["predict", str(file), "--plot-aim", str(tmp_path / "aim.png")]) == 0
    assert (tmp_path / "aim.png").read_bytes()[:4] == b"\x89PNG"
    assert main(["predict", str(file), "--plot-aim", str(tmp_path / "aim.doc")]) == 2
    assert ".doc" in capsys.readouterr().err
    pushed = short().text
    pushed = pushed[: pushed.index("[impactor]")] + "[velocity_change]\nalong_track_mm_s = -1.0\n"
    file.write_text(pushed)
    assert main(["predict", str(file), "--plot-aim", str(tmp_path / "none.png")]) == 2
    line = capsys.readouterr().err
    assert len(line.splitlines()) == 1 and "no [impactor]" in line and not (tmp_path / "none.png").exists()
