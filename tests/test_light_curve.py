"""Light curves against integrals over spheres in closed form, against geometric depths, and mesh against ellipsoid."""

from math import cos, log10, pi, radians, sin, tan

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from test_events import R1, R2, FixedSky, circular

from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.dynamics import simulate
from binarydyn.errors import InputError
from binarydyn.sky.events import events
from binarydyn.sky.figure import Figure, mesh_of_ellipsoid
from binarydyn.sky.light_curve import LAWS, PHASE_LAWS, light_curve_of
from binarydyn.sky.shadows import ellipsoid_top, quadric

SHARE = 1.0 / 2000.0
"""By which a geodesic mesh of 2000 facets misses areas; sums over lit and seen ones are no better."""
Z = [0.0, 0.0, 1.0]


@pytest.fixture(scope="module")
def run():
    return simulate(circular()[0], 1.5)


def lambert_sphere(angle):
    """Of a sphere of radius 1: 2/3 [sin a + (pi - a) cos a] (Lambert 1760; any handbook)."""
    return 2.0 / 3.0 * (sin(angle) + (pi - angle) * cos(angle))


def seeliger_sphere(angle):
    """pi/2 [1 - sin(a/2) tan(a/2) ln cot(a/4)] (Lommel-Seeliger sphere; any handbook)."""
    return pi / 2.0 * (1.0 + sin(angle / 2) * tan(angle / 2) * np.log(tan(angle / 4))) if angle else pi / 2.0


@pytest.mark.parametrize("degrees", [0.0, 20.0, 50.0, 90.0, 130.0])
@pytest.mark.parametrize("law, closed", [("lambert", lambert_sphere), ("lommel_seeliger", seeliger_sphere)])
def test_spheres_at_any_phase_angle(run, law, closed, degrees):
    """Lines across the orbit's pole's plane at +-a/2 from the pole: no mutual event, both bodies are whole spheres."""
    half = radians(degrees) / 2.0
    sky = FixedSky([0.0, -sin(half), cos(half)], [0.0, sin(half), cos(half)])
    time = [run.time_s[0]]  # the secondary is on the x axis, beside both lines
    curve = light_curve_of(run, sky, time, law=law)
    assert curve.phase_angle_deg[0] == pytest.approx(degrees, abs=1e-5)
    wanted = closed(radians(degrees)) * np.array([R1**2, R2**2])
    np.testing.assert_allclose(curve.brightness_m2[0], wanted, rtol=0.01)
    fine = light_curve_of(run, sky, time, law=law, facets=20000)
    np.testing.assert_allclose(fine.brightness_m2[0], wanted, rtol=0.002)


def test_the_mixed_law_is_the_sum(run):
    sky = FixedSky([0.0, 0.3, 1.0], [0.2, 0.0, 1.0])
    parts = [light_curve_of(run, sky, run.time_s[:3], law=law).brightness_m2 for law in LAWS]
    np.testing.assert_allclose(parts[2], parts[1] + 0.1 * parts[0], rtol=1e-12)


def test_full_eclipse_has_its_closed_depth_and_place(run):
    """At zero phase Lommel-Seeliger discs are evenly bright: -2.5 log10(1 - k^2/(1 + k^2)) between contacts 2 and 3."""
    line = [1.0, 0.4, 0.0]
    sky = FixedSky(line, line)
    event = next(e for e in events(run, sky) if (e.kind, e.extent) == ("eclipse", "total"))
    c1, c2, c3, c4 = event.contacts_s
    time = np.array([c1 - 600.0, c1 - 5.0, 0.7 * c2 + 0.3 * c3, event.mid_s, c4 + 5.0])
    k = R2 / R1
    for facets, tolerance_mag in ((2000, SHARE), (20000, 1e-4)):
        curve = light_curve_of(run, sky, time, facets=facets)
        depth = curve.magnitude - curve.magnitude[0]
        assert depth[2:4] == pytest.approx(-2.5 * log10(1.0 - k * k / (1.0 + k * k)), abs=tolerance_mag)
    assert np.all(curve.brightness_m2[2:4, 1] == 0.0)
    assert np.abs(depth[[1, 4]]).max() < 1e-4


def test_half_way_in_the_light_follows_the_overlap(run):
    """Through a partial phase the loss is the shared area (overlap.py), to the grain of 2000 facets."""
    from binarydyn.sky.motion_between import MotionBetween
    from binarydyn.sky.overlap import areas

    line = np.array([1.0, 0.4, 0.0]) / np.hypot(1.0, 0.4)
    sky = FixedSky(line, line)
    for body, dimmed, other in (("primary", 0, 1), ("secondary", 1, 0)):
        event = next(e for e in events(run, sky) if e.body == body and None not in e.contacts_s)
        time = np.linspace(event.contacts_s[0] - 60.0, event.contacts_s[1] + 60.0, 25)
        motion = MotionBetween(run)
        *alone, both = areas(motion.places(time), motion.figures, np.repeat(line[None], len(time), axis=0))
        curve = light_curve_of(run, sky, time).brightness_m2
        lost = 1.0 - curve[:, dimmed] / (0.5 * alone[dimmed])
        smaller = min(alone[0][0], alone[1][0])
        assert np.abs(lost - both / alone[dimmed]).max() * alone[dimmed][0] / smaller < 0.08
        assert np.abs(curve[:, other] / (0.5 * alone[other]) - 1.0).max() < 5e-3


def test_an_eclipse_that_cannot_be_seen_from_here(run):
    """Sun along x, observer along z: the shadow falls on the limb-lit half, and nothing is occulted."""
    sky = FixedSky([1.0, 0.0, 0.001], Z)
    event = next(e for e in events(run, sky) if e.kind == "eclipse" and e.extent == "total")
    curve = light_curve_of(run, sky, [event.contacts_s[0] - 60.0, event.mid_s, event.contacts_s[3] + 60.0])
    assert curve.brightness_m2[1, 1] == 0.0 and np.all(curve.brightness_m2[[0, 2], 1] > 0.0)
    np.testing.assert_allclose(curve.brightness_m2[:, 0], curve.brightness_m2[0, 0], rtol=1e-4)


def test_a_mesh_gives_the_light_curve_of_its_ellipsoid():
    """Both blocking routes: exact surface and facets sorted into cells, for shadows and occultations of both bodies."""
    one, two = Ellipsoid((400.0, 350.0, 300.0), 2300.0), Ellipsoid((140.0, 110.0, 90.0), 2300.0)
    meshes = [Mesh(*mesh_of_ellipsoid(np.array(body.semi_axes_m), 2000), 2300.0) for body in (one, two)]
    sky = FixedSky([1.0, 0.3, 0.02], [1.0, -0.2, 0.05])
    plain = simulate(circular(one, two)[0], 0.6)
    meshed = simulate(circular(*meshes)[0], 0.6)
    time = np.linspace(plain.time_s[0], plain.time_s[-1], 400)
    a, b = light_curve_of(plain, sky, time), light_curve_of(meshed, sky, time)
    assert np.ptp(a.brightness_m2[:, 1]) > 0.9 * a.brightness_m2[:, 1].max()  # a total event is among them
    assert np.abs(a.magnitude - b.magnitude).max() < 3e-3
    assert np.abs(a.magnitude - b.magnitude).std() < 5e-4


def angle_iron(size, halvings):
    """An L, three cubes of this size, as a fine mesh: vertices and facets of the prism over (0,0), (2,0), (2,1), .."""
    flat = np.array([(0, 0), (1, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2), (0, 1)], dtype=float)
    squares = [(0, 1, 4, 7), (1, 2, 3, 4), (7, 4, 5, 6)]
    quads = [tuple(8 + k for k in square) for square in squares] + [square[::-1] for square in squares]
    quads += [(k, (k + 1) % 8, 8 + (k + 1) % 8, 8 + k) for k in range(8)]
    corners = size * np.vstack([np.column_stack([flat, np.zeros(8)]), np.column_stack([flat, np.ones(8)])])
    triangles = corners[[part for q in quads for part in ((q[0], q[1], q[2]), (q[0], q[2], q[3]))]]
    for _ in range(halvings):
        a, b, c = triangles.transpose(1, 0, 2)
        ab, bc, ca = 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
        parts = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
        triangles = np.concatenate([np.stack(part, axis=1) for part in parts])
    vertices, facets = np.unique(np.round(triangles.reshape(-1, 3), 6), axis=0, return_inverse=True)
    return vertices, facets.reshape(-1, 3)


def test_a_hill_shadows_its_own_ground():
    """An L lit and seen from below its notch: the brightness is half its silhouette, not half of all facing faces.

    Seen along (cos t, -sin t) it is s + 2 c wide; its facing faces add up to 2 s + 2 c.
    """
    size = 100.0
    body = Mesh(*angle_iron(size, 4), 2300.0)
    assert not Figure.of(body).is_convex and Figure.of(Ellipsoid((3.0, 2.0, 1.0), 1.0)).is_convex
    run = simulate(circular(body, distance=2000.0)[0], 0.1)
    c, s = np.cos(0.4), np.sin(0.4)
    line = body.axes @ np.array([c, -s, 0.0])
    found = light_curve_of(run, FixedSky(line, line), [0.0]).brightness_m2[0, 0]
    assert found == pytest.approx(0.5 * (s + 2.0 * c) * size**2, rel=0.01)


def test_the_geodesic_mesh_has_the_volume_and_nearly_the_surface_of_its_ellipsoid():
    vertices, facets = mesh_of_ellipsoid(np.array([3.0, 2.0, 1.0]), 2000)
    assert len(facets) == 2000
    a, b, c = vertices[facets].transpose(1, 0, 2)
    assert np.sum(a * np.cross(b, c)) / 6.0 == pytest.approx(4.0 / 3.0 * pi * 6.0, rel=1e-12)
    sphere = mesh_of_ellipsoid(np.ones(3), 2000)[0]
    surface = (
        0.5
        * np.linalg.norm(
            np.cross(sphere[facets][:, 1] - sphere[facets][:, 0], sphere[facets][:, 2] - sphere[facets][:, 0]), axis=1
        ).sum()
    )
    assert surface == pytest.approx(4.0 * pi, rel=2.0 * SHARE)


def test_noise_has_its_sigma_and_its_seed(run):
    curve = light_curve_of(run, FixedSky(Z, Z), np.linspace(0.0, 1e5, 2000))
    noise = curve.noisy(0.02, 5) - curve.magnitude
    assert np.std(noise) == pytest.approx(0.02, rel=4.0 / np.sqrt(2.0 * len(noise)))
    assert np.abs(np.mean(noise)) < 4.0 * 0.02 / np.sqrt(len(noise))
    assert np.array_equal(curve.noisy(0.02, 5), curve.noisy(0.02, 5))
    assert not np.array_equal(curve.noisy(0.02, 5), curve.noisy(0.02, 6))


def test_flux_is_normalised_to_its_mean_and_the_phase_law_dims():
    run = simulate(circular()[0], 1.0)
    sky = FixedSky([0.0, 0.5, 1.0], Z)
    plain = light_curve_of(run, sky, run.time_s)
    dimmed = light_curve_of(run, sky, run.time_s, phase_law="linear_exponential")
    assert plain.flux.mean() == pytest.approx(1.0, abs=1e-12)
    factor = PHASE_LAWS["linear_exponential"](np.radians(plain.phase_angle_deg))
    np.testing.assert_allclose(dimmed.brightness_m2, plain.brightness_m2 * factor[:, None])
    assert PHASE_LAWS["linear_exponential"](np.array([0.0]))[0] == 1.5  # 1 + a at opposition


@pytest.mark.parametrize(
    "wrong, named",
    [
        ({"law": "phong"}, "lommel_seeliger"),
        ({"phase_law": "x"}, "linear_exponential"),
        ({"time_s": [1e9]}, "within the run"),
        ({"albedos": (1.0, 0.0)}, "above 0"),
    ],
)
def test_what_is_wrong_is_one_sentence(run, wrong, named):
    with pytest.raises(InputError, match=named):
        light_curve_of(run, FixedSky(Z, Z), **{"time_s": [0.0], **wrong})


def test_the_top_of_an_ellipsoid_lies_on_its_surface():
    """Beside its own definition |D^-1 turn^T p| = 1, turned at random; beside the outline there is none."""
    random = np.random.default_rng(5)
    semi, turn = np.array([3.0, 2.0, 1.2]), Rotation.random(random_state=7).as_matrix()
    form = np.empty(6)
    quadric(turn.ravel(), semi, form)
    for u, v in random.uniform(-3.0, 3.0, (200, 2)):
        height = ellipsoid_top(*form, u, v)
        along = np.linspace(-4.0, 4.0, 4001)
        size = np.linalg.norm((np.column_stack([np.full(4001, u), np.full(4001, v), along]) @ turn) / semi, axis=1)
        if np.isfinite(height):
            assert np.linalg.norm(turn.T @ [u, v, height] / semi) == pytest.approx(1.0, abs=1e-12)
            assert height == pytest.approx(along[size <= 1.0].max(initial=height - 2e-3), abs=2e-3)
        else:
            assert size.min() > 1.0
