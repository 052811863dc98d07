"""Bodies: moments, principal frames, refusals, rays and contact, against closed forms, trimesh and scipy."""

import os
from pathlib import Path

import meshes
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from binarydyn.bodies import Ellipsoid, Mesh, ellipsoids_touch
from binarydyn.bodies.integrals import place_of_moment
from binarydyn.bodies.principal import principal_axes
from binarydyn.errors import InputError, ShapeError

AXES = (420.0, 380.0, 300.0)
EXPONENTS = list(place_of_moment())


def relative(ours, theirs) -> float:
    return float(np.max(np.abs(np.subtract(ours, theirs))) / np.max(np.abs(theirs)))


def lumpy(n: int = 8, seed: int = 4, density: float = 2000.0) -> Mesh:
    return Mesh(*meshes.lumpy(n, seed), density)


# Ellipsoid -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("exponents", EXPONENTS)
def test_ellipsoid_moments_equal_cubature(exponents):
    """All integrals to degree 8 against a Gauss cubature of the ball that is exact to degree 9; 1e-13 is rounding."""
    import reference_gravity

    solid, body = reference_gravity.ellipsoid(AXES, 2400.0, order=5), Ellipsoid(AXES, 2400.0)
    cubature = solid.masses @ np.prod(solid.points ** np.array(exponents), axis=1)
    scale = body.mass_kg * np.prod(np.power(AXES, exponents))
    assert abs(body.moment(*exponents) - cubature) < 1e-13 * scale


def test_ellipsoid_textbook_values():
    """M (b^2 + c^2)/5, J2 R^2 = (a^2 + b^2 - 2 c^2)/10, C22 R^2 = (a^2 - b^2)/20 (textbook, from memory)."""
    body = Ellipsoid.of_mass(AXES, 5e11)
    a2, b2, c2 = np.square(AXES)
    assert relative(body.mass_kg, 5e11) < 1e-15
    assert relative(body.inertia_kg_m2, 1e11 * np.array([b2 + c2, a2 + c2, a2 + b2])) < 1e-15
    ix, iy, iz = body.inertia_kg_m2 / body.mass_kg
    assert relative(iz - (ix + iy) / 2, (a2 + b2 - 2 * c2) / 10) < 1e-14
    assert relative((iy - ix) / 4, (a2 - b2) / 20) < 1e-14
    assert body.is_even and body.bounding_radius_m == AXES[0]
    assert relative(body.scaled_mass(3.0).moment(2, 4, 2), 3.0 * body.moment(2, 4, 2)) < 1e-15


@pytest.mark.parametrize(
    "axes", [(1, 2, 3), (1, 1), 5.0, "abc", (3, 2, -1), (3, 2, 0), (float("inf"), 2, 1), (3, 2, None)]
)
def test_ellipsoid_refuses_bad_axes(axes):
    with pytest.raises(InputError, match="allowed"):
        Ellipsoid(axes, 2000.0)


@pytest.mark.parametrize("density", [0.0, -1.0, float("nan"), "rock", None, 1e308])
def test_ellipsoid_refuses_bad_density(density):
    with pytest.raises(InputError, match="allowed"):
        Ellipsoid(AXES, density)


# Mesh: moments ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("exponents", EXPONENTS)
def test_box_moments_in_closed_form(exponents):
    """M prod (L/2)^n / (n + 1) for even n, zero otherwise; the box stands off the origin of its file."""
    lengths = np.array([8.0, 6.0, 5.0])
    body = Mesh(*meshes.box(lengths, (3.0, -2.0, 7.0)), 1500.0)
    scale = 1500.0 * lengths.prod() * np.prod((lengths / 2) ** np.array(exponents))
    exact = 0.0 if any(n % 2 for n in exponents) else scale / np.prod(np.array(exponents) + 1.0)
    assert abs(body.moment(*exponents) - exact) < 1e-14 * scale
    assert body.is_even


@pytest.mark.parametrize("exponents", [(0, 0, 0), (2, 0, 0), (0, 2, 2), (0, 0, 4), (2, 2, 2), (4, 0, 4), (0, 8, 0)])
def test_inscribed_meshes_converge_at_second_order(exponents):
    """Halving the facets divides the error by 4; 3.9 to 4.1 allows the next term at these sizes."""
    exact = Ellipsoid(AXES, 2000.0).moment(*exponents)
    coarse, fine = (Mesh(*meshes.ellipsoid_mesh(AXES, n), 2000.0).moment(*exponents) - exact for n in (12, 24))
    assert abs(fine) < 0.05 * exact
    assert 3.9 < coarse / fine < 4.1


def test_moments_equal_an_independent_cubature():
    """All 165 integrals of a lumpy body by another rule for the same tetrahedra (1e-12 of M R^n)."""
    import reference_gravity

    body = lumpy(2)
    solid = reference_gravity.polyhedron(body.vertices_m, body.facets, body.density_kg_m3, order=6)
    for exponents in EXPONENTS:
        cubature = solid.masses @ np.prod(solid.points ** np.array(exponents), axis=1)
        scale = body.mass_kg * np.prod(body.enclosing_axes_m ** np.array(exponents))
        assert abs(body.moment(*exponents) - cubature) < 1e-12 * scale
    assert not body.is_even


def test_moments_do_not_depend_on_where_the_file_stands():
    """A shift by 1000 sizes loses 1000 eps in the vertices and no more: 1e-11 of M R^n at degree 8."""
    vertices, facets = meshes.lumpy(6, 1)
    near = Mesh(vertices, facets, 2000.0)
    far = Mesh(vertices + [1e5, -1e5, 5e4], facets, 2000.0)
    for exponents in EXPONENTS:
        scale = near.mass_kg * np.prod(near.enclosing_axes_m ** np.array(exponents))
        assert abs(near.moment(*exponents) - far.moment(*exponents)) < 1e-11 * scale
    assert relative(far.centre_m - near.centre_m, [1e5, -1e5, 5e4]) < 1e-14


def check_against_trimesh(vertices, facets, body: Mesh):
    """Volume, centre of mass, principal moments and frame against trimesh 4 or newer, to 1e-10 (its sums cancel)."""
    mesh = trimesh.Trimesh(vertices, facets, process=False)
    mesh.density = body.density_kg_m3
    size = np.ptp(vertices, axis=0).max()
    assert mesh.is_volume
    assert relative(body.volume_m3, mesh.volume) < 1e-10
    assert np.abs(body.centre_m - mesh.center_mass).max() < 1e-10 * size
    assert relative(body.inertia_kg_m2, np.sort(mesh.principal_inertia_components)) < 1e-10
    assert relative(body.axes.T @ np.diag(body.inertia_kg_m2) @ body.axes, mesh.moment_inertia) < 1e-10
    assert relative(np.linalg.det(body.axes), 1.0) < 1e-14
    assert np.abs((vertices - body.centre_m) @ body.axes.T - body.vertices_m).max() < 1e-12 * size


@pytest.mark.parametrize("n, seed", [(2, 1), (5, 2), (16, 3)])
def test_lumpy_bodies_against_trimesh(n, seed):
    vertices, facets = meshes.lumpy(n, seed)
    check_against_trimesh(vertices, facets, Mesh(vertices, facets, 2000.0))


@pytest.mark.parametrize("number, volume_km3, last_digit", [(4769, 0.6678, 1e-4), (25143, 0.02406, 1e-5)])
def test_shapes_of_real_bodies(number, volume_km3, last_digit):
    """Volumes from an independent mesh library, to half their last digit; the rest against trimesh."""
    folder = os.environ.get("BINARYDYN_SHAPES")
    if not folder:
        pytest.skip("BINARYDYN_SHAPES is not set: it names a folder with shape files of (4769) and (25143), in km")
    (path,) = Path(folder).glob(f"*{number}*")
    body = Mesh.read(path, "km", density_kg_m3=2000.0)
    assert abs(body.volume_m3 / 1e9 - volume_km3) < last_digit / 2
    mesh = trimesh.load(path, file_type="obj", process=False)
    check_against_trimesh(np.asarray(mesh.vertices) * 1e3, np.asarray(mesh.faces), body)


# Mesh: frame ------------------------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(st.tuples(*[st.floats(-2.0, 2.0)] * 3))
def test_a_turned_body_has_the_same_moments(turn):
    """Turning the file changes nothing but signs of axes: compare even moments and |odd| ones, 1e-11 of M R^n."""
    vertices, facets = meshes.lumpy(2, 6)
    one = Mesh(vertices, facets, 2000.0)
    two = Mesh(Rotation.from_rotvec(turn).apply(vertices), facets, 2000.0)
    for exponents in EXPONENTS:
        scale = one.mass_kg * one.bounding_radius_m ** sum(exponents)
        assert abs(abs(one.moment(*exponents)) - abs(two.moment(*exponents))) < 1e-11 * scale


def test_frame_is_principal_and_centred():
    body = lumpy()
    assert np.all(np.diff(body.inertia_kg_m2) > 0)
    second = body.mass_kg * body.bounding_radius_m**2
    for exponents in [(1, 1, 0), (1, 0, 1), (0, 1, 1)]:
        assert abs(body.moment(*exponents)) < 1e-14 * second
    for exponents in [(1, 0, 0), (0, 1, 0), (0, 0, 1)]:
        assert abs(body.moment(*exponents)) < 1e-14 * body.mass_kg * body.bounding_radius_m


def test_axes_are_the_nearest_rotation():
    """Among the four sign choices none turns by less."""
    axes = lumpy().axes
    for signs in [(1, -1, -1), (-1, 1, -1), (-1, -1, 1)]:
        assert np.trace(axes) > np.trace(axes * np.array(signs)[:, None])
    turn = Rotation.from_rotvec([0.2, -0.3, 0.1]).as_matrix()
    vertices, facets = meshes.box((8.0, 6.0, 5.0))
    assert np.abs(Mesh(vertices @ turn, facets, 1.0).axes - turn).max() < 1e-14


def test_equal_moments_keep_the_axes_of_the_file():
    """Cube: no turn; square prisms: no turn where their axis is z or x already, 120 degrees at most where it is y."""
    vertices, facets = meshes.box((2.0, 2.0, 2.0))
    turned = vertices @ Rotation.from_rotvec([0.4, 0.5, 0.6]).as_matrix()
    assert np.array_equal(Mesh(turned, facets, 1.0).axes, np.eye(3))
    for lengths in [(3.0, 3.0, 1.0), (3.0, 1.0, 1.0)]:
        about_axis = Rotation.from_rotvec([0, 0, 0.3] if lengths[1] == 3.0 else [0.3, 0, 0]).as_matrix()
        vertices, facets = meshes.box(lengths)
        assert np.abs(Mesh(vertices @ about_axis, facets, 1.0).axes - np.eye(3)).max() < 1e-9
    quarter = principal_axes(np.diag([1.0, 3.0, 1.0]))
    assert np.abs(np.abs(quarter) - [[1, 0, 0], [0, 0, 1], [0, 1, 0]]).max() < 1e-12
    assert abs(np.trace(quarter) - 1.0) < 1e-12 and abs(np.linalg.det(quarter) - 1.0) < 1e-12


def test_envelopes_hold_every_vertex():
    body = lumpy()
    inside = np.linalg.norm(body.vertices_m / body.enclosing_axes_m, axis=1)
    assert inside.max() < 1.0 + 1e-14 and inside.max() > 1.0 - 1e-14
    assert relative(np.linalg.norm(body.vertices_m, axis=1).max(), body.bounding_radius_m) < 1e-15


# Mesh: files and refusals -----------------------------------------------------------------------------------


def test_reads_every_form_of_facet(tmp_path):
    """Comments, texture and normal numbers, negative numbers, a quadrilateral, km; the same box as from arrays."""
    path = tmp_path / "box.obj"
    vertices, _ = meshes.box((2.0, 3.0, 4.0))
    lines = [
        "# a box",
        "o box",
        "",
        *(f"v {x / 1e3!r} {y / 1e3!r} {z / 1e3!r} 0.5 0.5 0.5" for x, y, z in vertices.tolist()),
    ]
    lines += ["vn 0 0 1", "s off", "usemtl grey", "f 1 2 4 3  # four corners", "f 5/1 7/2 8/3 6/4", "f -8 -4 -3 -7"]
    lines += ["f 3//1 4//1 8//1 7//1", "f 1/1/1 3/1/1 7/1/1 5/1/1", "f 2 6 8 4"]
    path.write_text("\n".join(lines))
    body = Mesh.read(path, "km", mass_kg=48.0)
    assert len(body.facets) == 12
    assert relative(body.volume_m3, 24.0) < 1e-14 and relative(body.density_kg_m3, 2.0) < 1e-14


def test_file_and_arrays_give_the_same_body(tmp_path):
    path = tmp_path / "lumpy.obj"
    mesh = meshes.lumpy(4, 2)
    path.write_text(meshes.obj_text(*mesh))
    read, made = Mesh.read(path, "m", density_kg_m3=1800.0), Mesh(*mesh, 1800.0)
    assert np.array_equal(read.integrals_m, made.integrals_m) and read.mass_kg == made.mass_kg


@pytest.mark.parametrize(
    "mesh, words",
    [
        (meshes.broken_open, "belongs to no other facet (3 open edges)"),
        (meshes.broken_flipped, "walked in the same direction"),
        (meshes.broken_inward, "face inward"),
        (meshes.broken_two_solids, "2 separate surfaces"),
        (meshes.broken_non_manifold, "belongs to 4 facets"),
        (meshes.broken_degenerate, "has no area"),
    ],
)
def test_broken_meshes_are_refused(mesh, words, tmp_path):
    with pytest.raises(ShapeError) as caught:
        Mesh(*mesh(), 2000.0)
    assert words in str(caught.value)
    path = tmp_path / "broken.obj"
    path.write_text(meshes.obj_text(*mesh()))
    with pytest.raises(ShapeError) as caught:
        Mesh.read(path, "m", density_kg_m3=2000.0)
    assert words in caught.value.sentence and caught.value.place == str(path) and "\n" not in str(caught.value)


def test_refusal_names_the_edge_and_the_line(tmp_path):
    """The box without its last facet, corners 2, 8, 4: the file counts from 1, and its facets begin on line 9."""
    path = tmp_path / "open.obj"
    path.write_text(meshes.obj_text(*meshes.broken_open()))
    with pytest.raises(ShapeError) as caught:
        Mesh.read(path, "m", density_kg_m3=2000.0)
    assert "the edge between vertices 2 and 4 of the facet on line 9" in str(caught.value)


@pytest.mark.parametrize(
    "text, words",
    [
        ("", "no facets"),
        ("v 1 2\n", ":1: this vertex"),
        ("v 1 2 nan\n", ":1: this vertex"),
        ("v 1 2 1e999\n", ":1: this vertex"),
        ("v 0 0 0\nf 1 2 3\n", ":2: a vertex number that is none of 1 to 1"),
        ("v 0 0 0\nf 1 0 1\n", ":2: a vertex number"),
        ("v 0 0 0\nf 1 1\n", ":2: a facet of 2 corners"),
        ("v 0 0 0\nf a b c\n", ":2: a vertex number"),
        ("vertex 0 0 0\n", ":1: not a line"),
        ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\nf 3 2 1\n", "not positive"),
        ("v 0 0 0\nv 1 0 0\nf 1 2 2\n", "no area"),
        ("\0\1binary", "binary file"),
    ],
)
def test_bad_files_are_refused(text, words, tmp_path):
    path = tmp_path / "bad.obj"
    path.write_text(text)
    with pytest.raises(ShapeError) as caught:
        Mesh.read(path, "m", density_kg_m3=2000.0)
    assert words in str(caught.value) and "\n" not in str(caught.value)


def test_bad_arguments_are_refused(tmp_path):
    path = tmp_path / "box.obj"
    path.write_text(meshes.obj_text(*meshes.box((1, 1, 1))))
    for arguments in [
        dict(unit="mm", density_kg_m3=1.0),
        dict(unit="m"),
        dict(unit="m", density_kg_m3=1.0, mass_kg=1.0),
    ]:
        with pytest.raises(InputError, match="allowed"):
            Mesh.read(path, **arguments)
    for arguments in [dict(density_kg_m3=-1.0), dict(mass_kg=float("nan"))]:
        with pytest.raises(InputError, match="above zero"):
            Mesh.read(path, "m", **arguments)
    for place in (tmp_path, tmp_path / "absent.obj"):
        with pytest.raises(ShapeError, match="cannot be read"):
            Mesh.read(place, "m", density_kg_m3=1.0)
    vertices, facets = meshes.box((1, 1, 1))
    for bad in [
        (vertices[:, :2], facets),
        (vertices * np.nan, facets),
        (vertices, facets + 1),
        (vertices, facets * 1.0),
    ]:
        with pytest.raises(ShapeError, match="allowed"):
            Mesh(*bad, 1.0)
    with pytest.raises(InputError, match="up to 8"):
        lumpy(2).moment(9, 0, 0)


# Surface ---------------------------------------------------------------------------------------------------------


def test_rays_at_an_ellipsoid():
    """The point lies on the surface and on the ray, the normal is the gradient, and nothing nearer is met."""
    body, random = Ellipsoid(AXES, 2000.0), np.random.default_rng(1)
    hits = 0
    for _ in range(200):
        origin = 1000.0 * random.normal(size=3)
        direction = 300.0 * random.normal(size=3) - origin
        outside = np.sum((origin / AXES) ** 2) > 1.0
        hit = body.hit(origin, direction)
        unit = direction / np.linalg.norm(direction)
        along = origin + np.linspace(0.0, 5000.0, 5001)[:, None] * unit
        level = np.sum((along / AXES) ** 2, axis=1)
        if hit is None:
            assert level.min() > 0.99999
            continue
        hits += 1
        assert abs(np.sum((hit.point_m / AXES) ** 2) - 1.0) < 1e-12
        assert np.abs(origin + hit.distance_m * unit - hit.point_m).max() < 1e-9
        gradient = hit.point_m / np.square(AXES)
        assert relative(hit.normal, gradient / np.linalg.norm(gradient)) < 1e-14
        before = level[: int(hit.distance_m)]
        assert np.all(before > 1.0) if outside else np.all(before < 1.0)
    assert 50 < hits < 200


@pytest.mark.parametrize("body", [Ellipsoid((3.0, 2.0, 1.0), 1.0), Mesh(*meshes.box((6, 4, 2)), 1.0)])
def test_rays_that_miss_graze_or_start_inside(body):
    assert body.hit([10, 0, 0], [1, 0, 0]) is None
    assert body.hit([10, 0, 1.001], [-1, 0, 0]) is None
    assert body.hit([0, 0, 0.5], [0, 0, -2]).point_m[2] == pytest.approx(-1.0, abs=1e-15)
    assert body.hit([10, 0, 0], [-1, 0, 0]).distance_m == pytest.approx(7.0, abs=1e-14)
    grazing = body.hit([0.5, 10, 1 - 1e-9], [0, -1e-200, 0])
    if isinstance(body, Ellipsoid):
        assert grazing is None
        grazing = body.hit([0, 10, 1 - 1e-9], [0, -1e-200, 0])
        assert grazing.normal[2] > 0.999
    assert np.all(np.isfinite([*grazing.point_m, *grazing.normal]))
    with pytest.raises(InputError, match="zero vector"):
        body.hit([10, 0, 0], [0, 0, 0])
    with pytest.raises(InputError, match="finite"):
        body.hit([10, 0, float("nan")], [0, 0, 1])
    with pytest.raises(InputError, match="-90 to 90"):
        body.at_longitude_latitude(0.0, 91.0)


@pytest.mark.parametrize("body", [Ellipsoid(AXES, 2000.0), lumpy()])
def test_ground_at_longitude_and_latitude(body):
    for longitude, latitude in [(0, 0), (90, 0), (-120, 30), (200, -75), (0, 90), (45, -90)]:
        hit = body.at_longitude_latitude(longitude, latitude)
        x, y, z = hit.point_m
        assert hit.distance_m == pytest.approx(np.linalg.norm(hit.point_m), rel=1e-14)
        assert np.degrees(np.arctan2(z, np.hypot(x, y))) == pytest.approx(latitude, abs=1e-12)
        if abs(latitude) < 90:
            assert (np.degrees(np.arctan2(y, x)) - longitude + 180) % 360 - 180 == pytest.approx(0.0, abs=1e-12)
        assert hit.normal @ hit.point_m > 0.0
    assert Ellipsoid(AXES, 2000.0).at_longitude_latitude(90, 0).distance_m == pytest.approx(AXES[1], rel=1e-15)


def test_rays_at_a_mesh_against_trimesh():
    """200 rays: same facet and distance to 1e-9 of the size as trimesh's plane normals and barycentric shares give."""
    body, random = lumpy(6, 9), np.random.default_rng(2)
    mesh = trimesh.Trimesh(body.vertices_m, body.facets, process=False)
    triangles, size, hits = mesh.triangles, body.bounding_radius_m, 0
    planes = trimesh.triangles.normals(triangles)[0]
    for _ in range(200):
        origin = 3.0 * size * random.normal(size=3)
        direction = 0.8 * size * random.normal(size=3) - origin
        unit = direction / np.linalg.norm(direction)
        with np.errstate(divide="ignore"):
            distance = np.einsum("ij,ij->i", triangles[:, 0] - origin, planes) / (planes @ unit)
        shares = trimesh.triangles.points_to_barycentric(triangles, origin + distance[:, None] * unit)
        met = np.flatnonzero((shares.min(axis=1) >= 0.0) & (distance > 0.0))
        hit = body.hit(origin, direction)
        assert (hit is None) == (met.size == 0)
        if hit is not None:
            hits += 1
            best = met[np.argmin(distance[met])]
            assert hit.facet == best and abs(hit.distance_m - distance[best]) < 1e-9 * size
            assert relative(hit.normal, planes[best]) < 1e-12
    assert 50 < hits < 200


def test_no_ray_slips_through_an_edge_or_a_corner():
    """From the centre through every corner and every edge's middle of a mesh, in random attitude: always an impact."""
    body = lumpy(5, 3)
    corners = body.vertices_m[body.facets]
    targets = np.concatenate([body.vertices_m, (corners + np.roll(corners, 1, axis=1)).reshape(-1, 3) / 2.0])
    for target in targets:
        hit = body.hit([0.0, 0.0, 0.0], target)
        assert abs(hit.distance_m - np.linalg.norm(target)) < 1e-12 * body.bounding_radius_m


def test_the_outermost_ground_of_a_bent_body():
    """A banana with its centre of mass in the open: along its arms the far side counts, upwards there is no ground."""
    vertices, facets = meshes.sphere_mesh(12)
    rod = vertices * [3.0, 0.3, 0.25]
    rod[:, 1] += 0.4 * rod[:, 0] ** 2
    body = Mesh(100.0 * rod, facets, 2000.0)
    assert np.abs(body.axes - np.eye(3)).max() < 1e-9
    first, outermost = body.hit([0, 0, 0], [1, 0, 0]), body.at_longitude_latitude(0, 0)
    assert outermost.distance_m > first.distance_m + 10.0
    assert first.normal[0] < 0.0 < outermost.normal[0]
    with pytest.raises(InputError, match="no ground"):
        body.at_longitude_latitude(90, 0)
    assert body.at_longitude_latitude(-90, 0).distance_m > body.hit([0, 0, 0], [0, -1, 0]).distance_m + 10.0


# Contact ---------------------------------------------------------------------------------------------------------


def gap(a, b, r, C) -> float:
    """Smallest distance between two ellipsoids by constrained minimisation (SLSQP): points u, v of the unit balls."""

    def apart(w):
        return r + C @ (b * w[3:]) - a * w[:3]

    start = np.concatenate([r / np.linalg.norm(r), -C.T @ r / np.linalg.norm(r)])
    result = minimize(
        lambda w: apart(w) @ apart(w) / np.linalg.norm(r) ** 2,
        start,
        method="SLSQP",
        constraints={"type": "ineq", "fun": lambda w: np.array([1.0 - w[:3] @ w[:3], 1.0 - w[3:] @ w[3:]])},
        options={"ftol": 1e-15, "maxiter": 500},
    )
    return float(np.linalg.norm(apart(result.x)))


def test_contact_agrees_with_the_smallest_distance():
    """The factor sqrt(F) by which both must grow to touch: at 0.999 of it they are apart, at 1.001 they overlap."""
    random = np.random.default_rng(7)
    for _ in range(25):
        a, b = np.exp(random.normal(scale=0.7, size=(2, 3)))
        r, C = 3.0 * random.normal(size=3), Rotation.random(random_state=random).as_matrix()
        factor = np.sqrt(ellipsoids_touch(*a, *b, *r, *C.ravel()) + 1.0)
        assert gap(0.999 * factor * a, 0.999 * factor * b, r, C) > 1e-4 * factor * min(*a, *b)
        assert gap(1.001 * factor * a, 1.001 * factor * b, r, C) < 1e-4 * factor * min(*a, *b)


def test_contact_in_closed_form():
    """Spheres touch at |r| = a + b with F = r^2/(a + b)^2; ellipsoids end to end likewise; common centres give -1."""
    none = np.eye(3).ravel()
    for r in (1.0, 4.999, 5.0, 5.001, 1e4):
        value = ellipsoids_touch(2.0, 2.0, 2.0, 3.0, 3.0, 3.0, 0.6 * r, 0.0, 0.8 * r, *none)
        assert value == pytest.approx((r / 5.0) ** 2 - 1.0, rel=1e-14, abs=1e-14)
        value = ellipsoids_touch(3.0, 2.0, 1.0, 2.0, 1.0, 0.5, r, 0.0, 0.0, *none)
        assert value == pytest.approx((r / 5.0) ** 2 - 1.0, rel=1e-14, abs=1e-14)
    assert ellipsoids_touch(3.0, 2.0, 1.0, 2.0, 1.0, 0.5, 0.0, 0.0, 0.0, *none) == -1.0
    value = ellipsoids_touch(1e3, 1e3, 1e3, 1.0, 0.5, 0.5, 1001.0 * (1 + 1e-9), 0.0, 0.0, *none)
    assert value == pytest.approx(2e-9, rel=1e-4)


def test_contact_is_the_same_from_the_other_body():
    """Swapping the bodies (r -> -C^T r, C -> C^T) leaves F as it is, to rounding of a symmetric solve (1e-12)."""
    random = np.random.default_rng(8)
    for _ in range(50):
        a, b = np.exp(random.normal(scale=0.7, size=(2, 3)))
        r, C = 3.0 * random.normal(size=3), Rotation.random(random_state=random).as_matrix()
        one = ellipsoids_touch(*a, *b, *r, *C.ravel())
        two = ellipsoids_touch(*b, *a, *(-C.T @ r), *C.T.ravel())
        assert one == pytest.approx(two, rel=1e-12, abs=1e-12)
