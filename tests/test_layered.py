"""Bodies with parts of other density in them: moments, frames, surfaces, refusals, gravity, and a whole prediction."""

import json

import meshes
import numpy as np
import pytest
import reference_gravity
import trimesh
from contracts import attitudes
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from binarydyn.bodies import Ellipsoid, Inclusion, Layered, Mesh
from binarydyn.bodies.containment import Ball, Shell, _nearest_facet, clear, farthest, holds, is_inside
from binarydyn.bodies.integrals import place_of_moment
from binarydyn.commands import main
from binarydyn.errors import InputError
from binarydyn.gravity import mutual_gravity
from binarydyn.plots.outlines import outline
from binarydyn.relaxed.bodies import bodies
from binarydyn.relaxed.start import start
from binarydyn.scenario import Scenario, example, varied

EXPONENTS = list(place_of_moment())
TURN = Rotation.from_rotvec([0.4, -0.7, 0.9]).as_matrix()


def relative(ours, theirs) -> float:
    return float(np.max(np.abs(np.subtract(ours, theirs))) / np.max(np.abs(theirs)))


def lumpy(n: int = 3, seed: int = 4, size_m: float = 300.0) -> Mesh:
    return Mesh(*meshes.lumpy(n, seed, size_m), 2000.0)


def cloud(layered: Layered) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 3) in the given frame of the outer shape and masses (n,): Gauss cubatures exact to degree 8 of the
    outer shape and of each part, the latter also with the density of what it lies in, taken away.  `hosts` of the tests
    are stated by them: the second part lies in the first, any other in the outer shape.
    """

    def solid(shape, density):
        if isinstance(shape, Ellipsoid):
            made = reference_gravity.ellipsoid(shape.semi_axes_m, density, order=5)
        else:
            made = reference_gravity.polyhedron(shape.vertices_m, shape.facets, density, order=5)
        return made.points @ shape.axes + shape.centre_m, made.masses

    outer = layered.shape
    clouds = [solid(outer, outer.density_kg_m3)]
    for n, part in enumerate(layered.inclusions):
        replaced = layered.inclusions[0].shape if n == 1 else outer
        points, masses = solid(part.shape, part.shape.density_kg_m3 - replaced.density_kg_m3)
        clouds.append((points @ part.rotation.T + part.centre_m, masses))
    return np.vstack([points for points, _ in clouds]), np.concatenate([masses for _, masses in clouds])


def lump_and_pebble() -> tuple[Inclusion, ...]:
    """A slanting light lump off the centre, a dense turned box in it, and a pebble beside both."""
    box = Mesh(*meshes.box((60.0, 40.0, 30.0), (15.0, 5.0, -5.0)), 7800.0)
    return (
        Inclusion(Ellipsoid((120.0, 90.0, 70.0), 1200.0), (70.0, 40.0, -20.0), TURN),
        Inclusion(box, (65.0, 35.0, -10.0), TURN.T),
        Inclusion(Ellipsoid((30.0, 30.0, 30.0), 3500.0), (-120.0, 20.0, 60.0)),
    )


def outer_ellipsoid() -> Layered:
    return Layered(Ellipsoid((300.0, 280.0, 240.0), 2000.0), lump_and_pebble())


def outer_mesh() -> Layered:
    parts = lump_and_pebble()
    return Layered(lumpy(), tuple(Inclusion(p.shape, p.centre_m + [90.0, -60.0, 30.0], p.rotation) for p in parts))


BOTH = pytest.mark.parametrize("make", [outer_ellipsoid, outer_mesh], ids=["ellipsoid", "mesh"])


# Closed forms ------------------------------------------------------------------------------------------------------


def test_a_sphere_off_centre_in_a_sphere():
    """Mass, centre and inertia by the parallel axis theorem (textbook): the lever arm adds M1 m2 / (M1 + m2) d^2 across
    the line of the centres and nothing along it; M1 is the whole outer sphere, m2 the excess."""
    big, small, place = 250.0, 80.0, np.array([60.0, -90.0, 45.0])
    core = Inclusion(Ellipsoid((small,) * 3, 5000.0), place)
    body = Layered(Ellipsoid((big,) * 3, 2000.0), (core,))
    mass, excess = 4 / 3 * np.pi * big**3 * 2000.0, 4 / 3 * np.pi * small**3 * 3000.0
    along = 0.4 * (mass * big**2 + excess * small**2)
    across = along + mass * excess / (mass + excess) * place @ place
    assert relative(body.mass_kg, mass + excess) < 1e-14
    assert relative(body.centre_m, excess / (mass + excess) * place) < 1e-13
    assert relative(body.inertia_kg_m2, [along, across, across]) < 1e-13
    assert relative(body.density_kg_m3, (mass + excess) / (4 / 3 * np.pi * big**3)) < 1e-14
    line = body.axes @ place
    assert relative(abs(line[0]), np.linalg.norm(place)) < 1e-7 and np.linalg.norm(line[1:]) < 1e-7 * abs(line[0])
    assert relative(body.bounding_radius_m, big + np.linalg.norm(body.centre_m)) < 1e-12
    assert not body.is_even


def test_a_shell_and_a_two_layer_ellipsoid():
    """I = 2/5 (M_outer a^2 + excess b^2) of concentric spheres; J2 R^2 = sum over parts of (a^2 + b^2 - 2 c^2)/10,
    C22 R^2 = (a^2 - b^2)/20, each weighed by its mass (textbook, from memory)."""
    shell = Layered(Ellipsoid((200.0,) * 3, 3000.0), (Inclusion.along_axes((150.0,) * 3, 1000.0),))
    outer, excess = 4 / 3 * np.pi * 200.0**3 * 3000.0, -4 / 3 * np.pi * 150.0**3 * 2000.0
    assert relative(shell.inertia_kg_m2, np.full(3, 0.4 * (outer * 200.0**2 + excess * 150.0**2))) < 1e-14
    assert shell.is_even and np.array_equal(shell.axes, np.eye(3))

    one, two = np.array([300.0, 270.0, 220.0]), np.array([160.0, 150.0, 90.0])
    body = Layered(Ellipsoid(tuple(one), 1800.0), (Inclusion.along_axes(two, 4200.0),))
    weights = np.array([1800.0 * one.prod(), 2400.0 * two.prod()]) / (1800.0 * one.prod() + 2400.0 * two.prod())
    flat = [(a * a + b * b - 2 * c * c) / 10 for a, b, c in (one, two)]
    ix, iy, iz = body.inertia_kg_m2 / body.mass_kg
    assert relative(iz - (ix + iy) / 2, weights @ flat) < 1e-13
    assert relative((iy - ix) / 4, weights @ [(a * a - b * b) / 20 for a, b, _ in (one, two)]) < 1e-13
    assert body.is_even


def test_an_inclusion_along_the_axes_in_any_order_is_the_turned_ellipsoid():
    """int x^2 dm = M a^2 / 5 with a the semi-axis along x, whatever the order (textbook)."""
    for axes in ((30.0, 70.0, 50.0), (50.0, 30.0, 70.0), (30.0, 50.0, 70.0), (70.0, 30.0, 50.0)):
        body = Layered(Ellipsoid((300.0, 200.0, 100.0), 1000.0), (Inclusion.along_axes(axes, 2000.0),))
        excess = 4 / 3 * np.pi * np.prod(axes) * 1000.0
        ours = [body.moment(*p) - body.shape.moment(*p) for p in ((2, 0, 0), (0, 2, 0), (0, 0, 2))]
        assert relative(ours, excess / 5.0 * np.square(axes)) < 1e-11


def test_three_layers_keep_their_own_densities():
    """Concentric spheres listed in any order: mass = sum of shells, 4 pi/3 rho (r_out^3 - r_in^3)."""
    layers = [(300.0, 1500.0), (220.0, 2500.0), (100.0, 7000.0)]
    parts = tuple(Inclusion.along_axes((radius,) * 3, density) for radius, density in layers[1:])
    inner = [220.0, 100.0, 0.0]
    mass = sum(4 / 3 * np.pi * rho * (r**3 - i**3) for (r, rho), i in zip(layers, inner, strict=True))
    for order in (parts, parts[::-1]):
        body = Layered(Ellipsoid((300.0,) * 3, 1500.0), order)
        assert relative(body.mass_kg, mass) < 1e-14
        assert relative(Layered.of_mass(body.shape.scaled_mass(2.0), order, mass).shape.density_kg_m3, 1500.0) < 1e-13


# Moments and frame -------------------------------------------------------------------------------------------------


@BOTH
def test_moments_equal_brute_force_sums(make):
    """All 165 integrals to degree 8 over the points of Gauss cubatures, in the frame the body says; 1e-12 M R^n."""
    body = make()
    points, masses = cloud(body)
    points = (points - body.centre_m) @ body.axes.T
    assert relative(body.mass_kg, masses.sum()) < 1e-14
    for exponents in EXPONENTS:
        brute = masses @ np.prod(points ** np.array(exponents), axis=1)
        assert abs(body.moment(*exponents) - brute) < 1e-12 * body.mass_kg * body.bounding_radius_m ** sum(exponents)


@BOTH
def test_the_frame_is_principal_and_right_handed(make):
    body = make()
    assert relative(body.axes @ body.axes.T, np.eye(3)) < 1e-14 and np.linalg.det(body.axes) > 0.0
    scale = body.mass_kg * body.bounding_radius_m
    for first in ((1, 0, 0), (0, 1, 0), (0, 0, 1)):
        assert abs(body.moment(*first)) < 1e-14 * scale
    for product in ((1, 1, 0), (1, 0, 1), (0, 1, 1)):
        assert abs(body.moment(*product)) < 1e-14 * scale * body.bounding_radius_m
    assert np.all(np.diff(body.inertia_kg_m2) > 0.0)
    xx, yy, zz = body.moment(2, 0, 0), body.moment(0, 2, 0), body.moment(0, 0, 2)
    assert relative(body.inertia_kg_m2, [yy + zz, xx + zz, xx + yy]) < 1e-15


@pytest.mark.parametrize("shape", [Ellipsoid((300.0, 280.0, 240.0), 2000.0), lumpy()], ids=["ellipsoid", "mesh"])
def test_no_excess_is_the_homogeneous_body(shape):
    parts = tuple(
        Inclusion.of_difference(part.shape, shape, 0.0, part.centre_m + shape.centre_m, part.rotation)
        for part in lump_and_pebble()
    )
    body = Layered(shape, parts)
    for p in EXPONENTS:
        assert abs(body.moment(*p) - shape.moment(*p)) < 1e-14 * body.mass_kg * body.bounding_radius_m ** sum(p)
    assert relative(body.axes, shape.axes) < 1e-13 and relative(body.centre_m - shape.centre_m, [300.0]) - 1.0 < 1e-13
    assert relative(body.inertia_kg_m2, shape.inertia_kg_m2) < 1e-14
    assert relative(body.enclosing_axes_m, shape.enclosing_axes_m) < 1e-12
    assert relative(body.bounding_radius_m, shape.bounding_radius_m) < 1e-12
    assert body.is_even == shape.is_even and body.volume_m3 == shape.volume_m3


def test_a_mass_factor_scales_every_density():
    body = outer_mesh()
    heavy = body.scaled_mass(1.7)
    assert relative(heavy.moments, 1.7 * body.moments) < 1e-15
    assert relative(heavy.inertia_kg_m2, 1.7 * body.inertia_kg_m2) < 1e-15
    assert relative(heavy.density_kg_m3, 1.7 * body.density_kg_m3) < 1e-15
    assert [p.shape.density_kg_m3 for p in heavy.inclusions] == [1.7 * p.shape.density_kg_m3 for p in body.inclusions]
    again = Layered(heavy.shape, heavy.inclusions)
    assert relative(again.moments, heavy.moments) < 1e-13
    assert body.mass_kg == outer_mesh().mass_kg, "the body itself must not change"


def test_moments_beyond_degree_8_are_refused():
    with pytest.raises(InputError, match="up to 8"):
        outer_ellipsoid().moment(9, 0, 0)


# Surface -----------------------------------------------------------------------------------------------------------


def given(body: Layered, point: np.ndarray) -> np.ndarray:
    """A point of the principal frame in the frame in which the outer shape was given."""
    return body.axes.T @ point + body.centre_m


@BOTH
def test_rays_and_ground_are_those_of_the_outer_shape(make):
    """The same ray in the outer shape's own principal frame meets the same point with the same normal."""
    body, shape = make(), make().shape
    for longitude, latitude in ((0.0, 0.0), (100.0, 40.0), (-135.0, -70.0)):
        hit = body.at_longitude_latitude(longitude, latitude)
        x, y, z = hit.point_m
        assert np.degrees(np.arctan2(y, x)) == pytest.approx(longitude, abs=1e-9)
        assert np.degrees(np.arctan2(z, np.hypot(x, y))) == pytest.approx(latitude, abs=1e-9)
        again = body.hit(3.0 * hit.point_m, -hit.point_m)
        own_origin = shape.axes @ (given(body, 3.0 * hit.point_m) - shape.centre_m)
        own = shape.hit(own_origin, shape.axes @ body.axes.T @ -hit.point_m)
        for found in (hit, again):
            own_point = shape.axes @ (given(body, found.point_m) - shape.centre_m)
            assert np.linalg.norm(own_point - own.point_m) < 1e-10 * body.bounding_radius_m
            assert np.linalg.norm(shape.axes @ body.axes.T @ found.normal - own.normal) < 1e-10
    assert body.hit([2000.0, 0.0, 0.0], [0.0, 1.0, 0.0]) is None


def test_the_ground_is_the_outermost_one():
    """A spike leans over from the pole: towards its tip the ray leaves the ball at 200 m and the spike near 467 m."""
    vertices, facets = meshes.ellipsoid_mesh((200.0, 200.0, 200.0), 8)
    vertices = vertices.copy()
    vertices[np.argmax(vertices[:, 2])] = [400.0, 0.0, 250.0]
    shape = Mesh(vertices, facets, 2000.0)
    body = Layered(shape, (Inclusion(Ellipsoid((50.0, 50.0, 50.0), 9000.0), (20.0, 0.0, 0.0)),))
    x, y, z = body.axes @ (np.array([395.0, 0.0, 249.3]) - body.centre_m)
    longitude, latitude = np.degrees([np.arctan2(y, x), np.arctan2(z, np.hypot(x, y))])
    ground, first = body.at_longitude_latitude(longitude, latitude), body.hit(np.zeros(3), [x, y, z])
    assert first.distance_m < 210.0 and ground.distance_m > np.linalg.norm([x, y, z])


@BOTH
def test_envelopes_hold_the_surface_and_touch_it(make):
    body = make()
    points = body.vertices_m
    if isinstance(body.shape, Ellipsoid):  # points of a 5 degree grid stay below by 1 - cos 2.5 deg at the most
        inside = 1.0 - np.cos(np.radians(3.6))
    else:
        inside = 1e-12
    for size in (np.full(3, body.bounding_radius_m), body.enclosing_axes_m):
        reach = np.linalg.norm(points / size, axis=1).max()
        assert 1.0 - inside <= reach <= 1.0 + 1e-12


def test_the_outline_is_that_of_the_shifted_shape():
    """Seen along z of its own frame an off-centre sphere is a circle about its centre, 0.1 % of the grid's step off."""
    body = Layered(Ellipsoid((250.0,) * 3, 2000.0), (Inclusion.along_axes((80.0,) * 3, 9000.0, (0.0, 120.0, 0.0)),))
    curve = outline(body, np.array([1.0, 0.0, 0.0, 0.0]), np.eye(3)[:2])
    centre = -(body.axes @ body.centre_m)[:2]
    assert np.linalg.norm(centre) > 10.0
    assert np.abs(np.linalg.norm(curve.T - centre, axis=1) / 250.0 - 1.0).max() < 1e-3


# Containment and refusals ------------------------------------------------------------------------------------------


def test_how_far_an_ellipsoid_reaches_equals_a_general_minimiser():
    """Against scipy's BFGS over directions from eight starts; some ellipsoids are centred or lie on an axis."""
    random = np.random.default_rng(3)
    for n in range(40):
        matrix = random.normal(size=(3, 3)) if n % 2 else np.diag([1.0, 0.8, 0.5])
        centre = random.normal(size=3) * [[1, 1, 1], [0, 0, 0], [0, 0, 1], [0, 1e-9, 1]][n % 4]

        def short(u, matrix=matrix, centre=centre):
            return -np.linalg.norm(centre + matrix @ u / np.linalg.norm(u))

        best = -min(minimize(short, start, tol=1e-12).fun for start in random.normal(size=(8, 3)))
        assert farthest(matrix, centre) == pytest.approx(best, rel=1e-9)


def test_ellipsoids_within_and_clear_of_each_other():
    """Points on a fine grid of one surface decide; pairs within 1 % of touching are left out."""
    random = np.random.default_rng(5)
    directions = random.normal(size=(4000, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    seen = set()
    for _ in range(300):
        one = Ball(np.zeros(3), attitudes(random, 1)[0] * random.uniform(0.5, 1.5, 3))
        two = Ball(
            random.normal(size=3) * random.uniform(0.0, 1.2), attitudes(random, 1)[0] * random.uniform(0.1, 1, 3)
        )
        reach = np.linalg.norm(one.to_unit(two.centre + directions @ two.matrix.T), axis=1)
        if min(abs(reach.max() - 1.0), abs(reach.min() - 1.0)) < 0.01:
            continue
        centre_out = np.linalg.norm(one.to_unit(two.centre[None])) > 1.0
        one_in_two = np.linalg.norm(two.to_unit(one.centre[None])) < 1.0
        assert holds(one, two) == (reach.max() < 1.0)
        assert clear(one, two) == clear(two, one) == bool(reach.min() > 1.0 and centre_out and not one_in_two)
        seen.add((holds(one, two), clear(one, two)))
    assert seen == {(True, False), (False, True), (False, False)}


def test_distance_to_facets_equals_trimesh():
    """Closest points of trimesh 4 on every facet; a ball in stretched coordinates measures in those."""
    random = np.random.default_rng(7)
    vertices, facets = meshes.lumpy(3, 2)
    for _ in range(20):
        ball = Ball(random.normal(size=3) * 80.0, attitudes(random, 1)[0] * random.uniform(10.0, 60.0, 3))
        triangles = ball.to_unit(vertices)[facets]
        closest = trimesh.triangles.closest_point(triangles, np.zeros((len(facets), 3)))
        exact = np.linalg.norm(closest, axis=1).min()
        assert _nearest_facet(Shell(vertices, facets), ball) == pytest.approx(exact, rel=1e-9)


def test_inside_a_box():
    mesh = Shell(*meshes.box((2.0, 3.0, 4.0), (5.0, 0.0, 0.0)))
    for point in np.random.default_rng(1).uniform([3.0, -2.5, -3.0], [7.0, 2.5, 3.0], (200, 3)):
        assert is_inside(mesh, point) == bool(np.all(np.abs(point - [5.0, 0.0, 0.0]) < [1.0, 1.5, 2.0]))
    for within in (Ball(np.array([5.0, 0.0, 0.0]), 0.5 * np.eye(3)), Shell(*meshes.box((1.0,) * 3, (5.0, 0.0, 0.0)))):
        assert holds(mesh, within) and not clear(mesh, within) and not clear(within, mesh)


ROUND, BOX = Ellipsoid((50.0, 50.0, 50.0), 3000.0), Mesh(*meshes.box((80.0, 80.0, 80.0)), 3000.0)
LARGE, LARGE_BOX = Ellipsoid((200.0, 200.0, 200.0), 2000.0), Mesh(*meshes.box((400.0,) * 3), 2000.0)


@pytest.mark.parametrize("outer", [LARGE, LARGE_BOX], ids=["in an ellipsoid", "in a mesh"])
@pytest.mark.parametrize("part", [ROUND, BOX], ids=["ellipsoid", "mesh"])
def test_what_sticks_out_is_refused(outer, part):
    """The largest distance along x that still fits: from the closed forms of a sphere and a cube."""
    if outer is LARGE:
        fits = 150.0 if part is ROUND else np.sqrt(200.0**2 - 2 * 40.0**2) - 40.0
    else:
        fits = 150.0 if part is ROUND else 160.0
    Layered(outer, (Inclusion(part, (fits, 0.0, 0.0)),))
    for too_far in (fits + 0.01, 190.0, 230.0, 500.0):
        with pytest.raises(InputError, match=r"inclusions.0: it sticks out"):
            Layered(outer, (Inclusion(part, (too_far, 0.0, 0.0)),))


@pytest.mark.parametrize("one", [ROUND, BOX], ids=["ellipsoid", "mesh"])
@pytest.mark.parametrize("two", [ROUND, BOX], ids=["ellipsoid", "mesh"])
def test_parts_that_overlap_are_refused_and_those_that_touch_are_not(one, two):
    touch = sum(50.0 if shape is ROUND else 40.0 for shape in (one, two))
    Layered(LARGE, (Inclusion(one, (-60.0, 0.0, 0.0)), Inclusion(two, (touch - 60.0, 0.0, 0.0))))
    with pytest.raises(InputError, match="overlaps inclusions"):
        Layered(LARGE, (Inclusion(one, (-60.0, 0.0, 0.0)), Inclusion(two, (touch - 60.1, 0.0, 0.0))))


def test_a_mesh_peak_that_dips_into_a_part_is_seen():
    """A thin spike of the outer surface pokes inward, through the part and past all points of its surface."""
    vertices, facets = meshes.ellipsoid_mesh((200.0, 200.0, 200.0), 8)
    vertices = vertices.copy()
    vertices[np.argmax(vertices[:, 2])] = [0.0, 0.0, 20.0]
    outer = Mesh(vertices, facets, 2000.0)
    Layered(outer, (Inclusion(Ellipsoid((19.0, 19.0, 19.0), 3000.0)),))
    with pytest.raises(InputError, match="sticks out"):
        Layered(outer, (Inclusion(Ellipsoid((21.0, 21.0, 21.0), 3000.0)),))


def test_densities_that_come_out_negative_are_refused():
    with pytest.raises(InputError, match="above zero"):
        Inclusion.of_difference(ROUND, LARGE, -2000.0)
    assert Inclusion.of_difference(ROUND, LARGE, -1999.0).shape.density_kg_m3 == pytest.approx(1.0)
    parts = (Inclusion(ROUND),)
    with pytest.raises(InputError, match="mass_kg: .* of its inclusions"):
        Layered.of_mass(LARGE, parts, 0.9 * ROUND.mass_kg)
    with pytest.raises(InputError, match="mass_kg"):
        Layered.of_mass(LARGE, (Inclusion(LARGE),), 2.0 * LARGE.mass_kg)


@pytest.mark.parametrize("wrong", [np.diag([1.0, 1.0, -1.0]), np.full((3, 3), 0.5), np.eye(2)])
def test_a_matrix_that_is_no_rotation_is_refused(wrong):
    with pytest.raises(InputError, match="rotation"):
        Inclusion(ROUND, rotation=wrong)
    with pytest.raises(InputError, match="centre_m"):
        Inclusion(ROUND, (0.0, float("nan"), 0.0))


# Gravity -----------------------------------------------------------------------------------------------------------


def test_gravity_is_the_sum_of_the_gravities_of_the_parts():
    """Force and torques against exact sums over the parts, for every degree: at this distance, 6 radii, the expansion
    is off by less than reach^(N+1) of G M m / r^2, and at degree 8 a hundred times less than at degree 4."""
    body, moonlet = outer_ellipsoid(), Ellipsoid((90.0, 75.0, 60.0), 2300.0)
    C1, C2 = attitudes(np.random.default_rng(2), 2)
    r = np.array([1500.0, -700.0, 600.0])
    force, torque, torque2 = np.zeros(3), np.zeros(3), np.zeros(3)
    sink = reference_gravity.ellipsoid(moonlet.semi_axes_m, moonlet.density_kg_m3, 12)
    pieces = [(body.shape, np.zeros(3), np.eye(3), body.shape.density_kg_m3)]
    for n, part in enumerate(body.inclusions):
        excess = part.shape.density_kg_m3 - (body.inclusions[0].shape if n == 1 else body.shape).density_kg_m3
        turn = part.rotation @ part.shape.axes.T
        pieces.append((part.shape, part.centre_m + part.rotation @ part.shape.centre_m, turn, excess))
    for shape, place, turn, density in pieces:
        if isinstance(shape, Ellipsoid):
            source = reference_gravity.ellipsoid(shape.semi_axes_m, density, 12)
        else:
            source = reference_gravity.polyhedron(shape.vertices_m, shape.facets, density, 6)
        arm = C1 @ body.axes @ (place - body.centre_m)
        _, pull, own1, own2 = reference_gravity.pair(source, sink, r - arm, C1 @ body.axes @ turn, C2)
        force, torque, torque2 = force + pull, torque + own1 - np.cross(arm, pull), torque2 + own2
    errors, reach = {}, (body.bounding_radius_m + moonlet.bounding_radius_m) / np.linalg.norm(r)
    for degree in (2, 4, 6, 8):
        ours = mutual_gravity(body, moonlet, r, C1, C2, degree)
        size = np.linalg.norm(force)
        lever = size * np.linalg.norm(r)
        errors[degree] = [
            np.linalg.norm(ours.force_N - force) / size,
            np.linalg.norm(ours.torque1_N_m - torque) / lever,
            np.linalg.norm(ours.torque2_N_m - torque2) / lever,
        ]
        assert max(errors[degree]) < reach ** (degree + 1)
    assert max(errors[8]) < 0.01 * max(errors[4])


# From the scenario to a prediction ---------------------------------------------------------------------------------

CORE = {"semi_axes_m": [90.0, 110.0, 80.0], "centre_m": [60.0, 40.0, -30.0], "density_kg_m3": 4500.0}
LUMP = {"semi_axes_m": [20.0, 15.0, 20.0], "density_kg_m3": 1200.0, "centre_m": [20.0, -10.0, 5.0]}


def layered_pair(**simulation) -> Scenario:
    data = {**example().to_dict()}
    data["primary"] = {**data["primary"], "inclusions": [CORE]}
    data["secondary"] = {**data["secondary"], "inclusions": [LUMP]}
    data["simulation"] = {**data["simulation"], **simulation}
    return Scenario.from_dict(data, "layered.toml")


def test_inclusions_are_read_shown_and_varied(tmp_path, capsys):
    scenario = layered_pair()
    file = tmp_path / "layered.toml"
    file.write_text(scenario.text)
    assert main(["check", str(file), "--json"]) == 0
    values = json.loads(capsys.readouterr().out)["values"]
    assert values["primary.inclusions.0.density_kg_m3"] == 4500.0
    assert values["secondary.inclusions.0.centre_m"] == [20.0, -10.0, 5.0]
    assert "secondary.inclusions.1.centre_m" not in values

    after = varied(scenario, {"primary.inclusions.0.density_kg_m3": 5000.0, "primary.inclusions.0.centre_m.1": 20.0})
    expected = scenario.model_dump()
    expected["primary"]["inclusions"][0].update(density_kg_m3=5000.0, centre_m=(60.0, 20.0, -30.0))
    assert after.model_dump() == expected and scenario.model_dump() == layered_pair().model_dump()
    assert Scenario.from_text(after.text).model_dump() == expected
    for name, word in (
        ("primary.inclusions.1.density_kg_m3", "does not give it"),
        ("primary.inclusions.0.semi_axes_m", "primary.inclusions.0.semi_axes_m.0"),
        ("primary.inclusions.0.density", "density_kg_m3"),
        ("primary.inclusions.\N{SUPERSCRIPT TWO}.density_kg_m3", "unknown key"),
    ):
        with pytest.raises(InputError) as caught:
            varied(scenario, {name: 1000.0})
        assert word in str(caught.value)


def test_a_light_mantle_does_not_make_the_implied_density_absurd():
    """Fluff of 15 kg/m3 about a core that has nearly all the mass: Kepler's third law asks for a mean density only."""
    data = layered_pair().to_dict()
    core = {"semi_axes_m": [250.0, 240.0, 220.0], "density_kg_m3": 4000.0}
    primary = {**data["primary"], "density_kg_m3": 15.0, "inclusions": [core]}
    orbit = data["mutual_orbit"]
    assert Scenario.from_dict({**data, "primary": primary}, "fluff").primary.inclusions[0].density_kg_m3 == 4000.0
    with pytest.raises(InputError, match="ask for a density"):
        Scenario.from_dict({**data, "primary": primary, "mutual_orbit": {**orbit, "period_h": 0.3}}, "fluff")


def test_mass_and_inclusions_leave_the_density_between_to_be_found():
    data = layered_pair().to_dict()
    primary = {k: v for k, v in data["primary"].items() if k != "density_kg_m3"} | {"mass_kg": 2.4e11}
    body, _ = bodies(Scenario.from_dict({**data, "primary": primary}, "by mass"))
    core = 4 / 3 * np.pi * np.prod(CORE["semi_axes_m"])
    assert relative(body.mass_kg, 2.4e11) < 1e-13
    assert relative(body.shape.density_kg_m3, (2.4e11 - 4500.0 * core) / (body.volume_m3 - core)) < 1e-12


def test_a_mesh_takes_inclusions_in_the_frame_of_its_file(tmp_path):
    vertices, facets = meshes.lumpy(4, 4, 250.0)
    (tmp_path / "rock.obj").write_text(meshes.obj_text(vertices, facets))
    centre = Mesh(vertices, facets, 2000.0).centre_m
    core = {**CORE, "centre_m": (centre + [10.0, 20.0, 30.0]).tolist()}
    data = {**layered_pair().to_dict()}
    data["primary"] = {"polyhedron": {"file": "rock.obj", "unit": "m"}, "density_kg_m3": 2000.0, "spin_period_h": 3.0}
    data["primary"]["inclusions"] = [core]
    data["mutual_orbit"] = {**data["mutual_orbit"], "separation_m": 1200.0, "period_h": 18.0}
    body, _ = bodies(Scenario.from_dict(data, "mesh", tmp_path))
    excess = 4 / 3 * np.pi * np.prod(CORE["semi_axes_m"]) * 2500.0
    assert relative(body.mass_kg - body.shape.mass_kg, excess) < 1e-10
    assert relative(body.centre_m - centre, excess / body.mass_kg * np.array([10.0, 20.0, 30.0])) < 1e-10


def test_a_slanting_part_that_sticks_out_is_refused_in_one_line(tmp_path, capsys):
    """Within the box around the body, but not within the body."""
    data = layered_pair().to_dict()
    data = {
        **data,
        "primary": {**data["primary"], "inclusions": [CORE, {**CORE, "centre_m": [-150.0, -130.0, -120.0]}]},
    }
    file = tmp_path / "out.toml"
    file.write_text(Scenario.from_dict(data, "out").text)
    assert main(["predict", str(file)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and f"{file}:primary.inclusions.1: it sticks out" in err and len(err.splitlines()) == 1


def test_a_calibrated_prediction_of_a_layered_pair(tmp_path, capsys):
    """The period before is the one asked for to 0.01 s, the densities scale by one factor, the frames are reported."""
    scenario = layered_pair(days_before=20.0, days_after=20.0)
    file = tmp_path / "layered.toml"
    file.write_text(scenario.text)
    assert main(["predict", str(file), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert abs(result["period_before_h"] - scenario.mutual_orbit.period_h) * 3600.0 < 0.01
    assert result["status"] == "completed" and result["relative_energy_error"] < 1e-11
    begun = start(scenario)
    factor = begun.mass_factor
    assert begun.system.primary.inclusions[0].shape.density_kg_m3 == pytest.approx(4500.0 * factor, rel=1e-12)
    assert begun.system.primary.shape.density_kg_m3 == pytest.approx(3120.0 * factor, rel=1e-12)
    primary, secondary = result["bodies"]
    assert (primary["name"], secondary["name"]) == ("primary", "secondary")
    for reported, body in ((primary, begun.system.primary), (secondary, begun.system.secondary)):
        for name in ("inertia_kg_m2", "axes", "centre_m"):
            assert relative(reported[name], getattr(body, name)) < 1e-12
        assert np.linalg.norm(reported["centre_m"]) > 1e-3
