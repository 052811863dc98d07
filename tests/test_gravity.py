"""Mutual gravity against brute force, closed forms and its own symmetries; the multipoles, the tape and the generated
text.
"""

import ast
from functools import cache

import meshes
import numpy as np
import pytest
import reference_gravity as reference
from contracts import ROUNDING, AsGeneral, Case, Cloud, G, GravityContract, apart, attitudes, field

from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.gravity import MODELS, model_number, mutual_gravity
from binarydyn.gravity.generator import source
from binarydyn.gravity.models import module
from binarydyn.gravity.multipoles import coefficients, multinomial, multipole, powers
from binarydyn.gravity.tape import Tape

MODEL_IDS = [(model.degree, model.even) for model in MODELS.values()]
SLOPE_TOLERANCE = 0.3


def random_ellipsoid(random: np.random.Generator, size_m: float) -> Ellipsoid:
    """Semi-axes between 0.6 and 1 sizes, density 1500 to 3000 kg/m3."""
    axes = np.sort(random.uniform(0.6, 1.0, 3))[::-1] * size_m
    return Ellipsoid(tuple(axes), random.uniform(1500.0, 3000.0))


def two_ellipsoids(random: np.random.Generator):
    return random_ellipsoid(random, 400.0), random_ellipsoid(random, random.uniform(80.0, 400.0))


def unit(random: np.random.Generator) -> np.ndarray:
    direction = random.normal(size=3)
    return direction / np.linalg.norm(direction)


# The contract of every model ----------------------------------------------------------------------------------------


class EvenBodies(GravityContract):
    bodies = staticmethod(two_ellipsoids)

    def test_kernels_for_any_bodies_agree(self, case):
        """The same expansion with the odd terms zero: equal to rounding, 1e-14."""
        g = field(case, self.degree)
        h = field(case, self.degree, one=AsGeneral(case.one), two=AsGeneral(case.two))
        arm = np.linalg.norm(case.r_m) * np.linalg.norm(g.force_N)
        assert abs(h.potential_J - g.potential_J) < 1e-14 * case.size_J
        assert apart(h.force_N, g.force_N) < 1e-14 * np.linalg.norm(g.force_N)
        assert apart(h.torque1_N_m, g.torque1_N_m) < 1e-14 * arm and apart(h.torque2_N_m, g.torque2_N_m) < 1e-14 * arm

    def test_spheres_are_points_at_any_distance(self, case):
        """Newton's shell theorem: both bodies replaced by spheres, just apart; no force but the monopole's, no
        torque.
        """
        one, two = (Ellipsoid((b.semi_axes_m[0],) * 3, b.density_kg_m3) for b in (case.one, case.two))
        r = case.r_m * case.reach * 1.001
        for pair in ((one, two), (AsGeneral(one), AsGeneral(two))):
            g = mutual_gravity(*pair, r, case.C1, case.C2, self.degree)
            point = -G * one.mass_kg * two.mass_kg / np.linalg.norm(r)
            assert abs(g.potential_J - point) < 4 * ROUNDING * abs(point)
            assert apart(g.force_N, point * r / (r @ r)) < 8 * ROUNDING * np.linalg.norm(g.force_N)
            assert max(apart(g.torque1_N_m, 0.0), apart(g.torque2_N_m, 0.0)) < 8 * ROUNDING * abs(point)


class AnyBodies(GravityContract):
    @staticmethod
    def bodies(random):
        return Cloud.random(random, size_m=300.0), Cloud.random(random)


class TestEvenDegree2(EvenBodies):
    degree = 2


class TestEvenDegree4(EvenBodies):
    degree = 4


class TestAnyDegree2(AnyBodies):
    degree = 2


class TestAnyDegree4(AnyBodies):
    degree = 4


class TestEvenDegree6(EvenBodies):
    degree = 6


class TestEvenDegree8(EvenBodies):
    degree = 8


class TestAnyDegree6(AnyBodies):
    degree = 6


class TestAnyDegree8(AnyBodies):
    degree = 8


class TestLumpyBodiesDegree4(GravityContract):
    degree = 4

    @staticmethod
    def bodies(random):
        seeds = random.integers(100, size=2)
        return tuple(
            Mesh(*meshes.lumpy(4, int(seed), size), 2000.0) for seed, size in zip(seeds, (400.0, 90.0), strict=True)
        )


# Errors of the truncation against brute force -------------------------------------------------------------------------

# In R1 + R2, by degree: far enough that the next term decides the slope, near enough that the error is no rounding.
DISTANCES = {2: (4.0, 5.7, 8.0), 4: (4.0, 5.7, 8.0), 6: (4.0, 5.7, 8.0), 8: (2.4, 3.2, 4.3)}
# Farther, because for general bodies the term after the next is only R/r smaller.
CLOUD_DISTANCES = {2: (8.0, 16.0, 32.0), 4: (8.0, 16.0, 32.0), 6: (6.0, 10.0, 16.0), 8: (4.0, 5.7, 8.0)}


def relative_errors(case: Case, theirs, degree: int) -> np.ndarray:
    """(4,) relative errors of U, F and both torques; a torque is compared with itself."""
    g = field(case, degree)
    ours = (g.potential_J, g.force_N, g.torque1_N_m, g.torque2_N_m)
    return np.array([np.linalg.norm(np.subtract(a, b)) / np.linalg.norm(b) for a, b in zip(ours, theirs, strict=True)])


def tail(reach: float, degree: int, step: int) -> np.ndarray:
    """Bounds on what the series leaves out, over G M1 M2 / r: of U, r F, tau1 and tau2.

    A term of degree n is at most reach^n, its gradient times r (n + 1) reach^n, a torque n reach^n, since a harmonic
    polynomial that is at most 1 on the sphere has gradients of at most n there; summed over the n beyond the degree,
    every second one if step is 2.
    """
    n = np.arange(degree + step, degree + 200, step)
    terms = reach**n
    return np.array([terms.sum(), ((n + 1) * terms).sum(), (n * terms).sum(), (n * terms).sum()])


def within_tail(case: Case, theirs, degree: int, step: int) -> bool:
    g = field(case, degree)
    scales = case.size_J * np.array([1.0, 1.0 / np.linalg.norm(case.r_m), 1.0, 1.0])
    ours = (g.potential_J, g.force_N, g.torque1_N_m, g.torque2_N_m)
    left = [np.linalg.norm(np.subtract(a, b)) for a, b in zip(ours, theirs, strict=True)]
    return bool(np.all(left <= tail(case.reach, degree, step) * scales))


def fitted_exponents(errors: np.ndarray, distances: np.ndarray) -> np.ndarray:
    """(4,) slopes of log error against log distance; errors (pairs, distances, 4), the mean is taken of the
    logarithms, because a relative error has no mean square where the torque itself passes zero.
    """
    return -np.polyfit(np.log(distances), np.log(errors).mean(axis=0), 1)[0]


@cache
def ellipsoid_pairs(distances):
    """Fifty random pairs of ellipsoids, attitudes and directions, at these distances: U, F, torques by Gauss cubature.

    Order 9 integrates terms up to degree 17 exactly; what it misses is (R/r)^18, below 1e-13 from 4 (R1 + R2) on and
    1e-7 of degree 8's error at 2.4.
    """
    random, rows = np.random.default_rng(2024), []
    for _ in range(50):
        (one, two), (C1, C2), direction = two_ellipsoids(random), attitudes(random, 2), unit(random)
        bodies = [reference.ellipsoid(b.semi_axes_m, b.density_kg_m3, order=9) for b in (one, two)]
        row = []
        for distance in np.array(distances) * (one.bounding_radius_m + two.bounding_radius_m):
            case = Case(one, two, distance * direction, C1, C2)
            row.append((case, reference.pair(*bodies, case.r_m, C1, C2)))
        rows.append(row)
    return rows


@pytest.mark.parametrize("degree", [2, 4, 6, 8])
def test_errors_of_even_bodies_fall_as_declared(degree):
    """U and F as (R/r)^(N+2), a torque against itself as (R/r)^N; and every single error below the sum of the omitted
    terms.
    """
    pairs = ellipsoid_pairs(DISTANCES[degree])
    errors = np.array([[relative_errors(case, theirs, degree) for case, theirs in row] for row in pairs])
    declared = np.array([degree + 2, degree + 2, degree, degree])
    assert MODELS[model_number(degree, True)].error == f"(R/r)^{degree + 2}"
    assert apart(fitted_exponents(errors, DISTANCES[degree]), declared) < SLOPE_TOLERANCE
    assert all(within_tail(case, theirs, degree, 2) for row in pairs for case, theirs in row)


def test_degree_4_beats_degree_2_for_every_ellipsoid_pair():
    """The rms over U, F and both torques is at least four times smaller at r = 4 (R1 + R2), where (r/R)^2 is 16 or
    more.
    """
    for row in ellipsoid_pairs(DISTANCES[4]):
        case, theirs = row[0]
        two, four = (np.sqrt(np.mean(relative_errors(case, theirs, degree) ** 2)) for degree in (2, 4))
        assert four < two / 4.0


def test_close_to_contact_degree_4_still_beats_degree_2():
    """At r = 1.5 (R1 + R2), where such pairs orbit, in the mean over 20 pairs; cubature of order 14."""
    random, errors = np.random.default_rng(77), []
    for _ in range(20):
        (one, two), (C1, C2), direction = two_ellipsoids(random), attitudes(random, 2), unit(random)
        case = Case(one, two, 1.5 * (one.bounding_radius_m + two.bounding_radius_m) * direction, C1, C2)
        bodies = [reference.ellipsoid(b.semi_axes_m, b.density_kg_m3, order=14) for b in (one, two)]
        theirs = reference.pair(*bodies, case.r_m, C1, C2)
        assert within_tail(case, theirs, 2, 2) and within_tail(case, theirs, 4, 2)
        errors.append([relative_errors(case, theirs, degree) for degree in (2, 4)])
    means = np.exp(np.log(errors).mean(axis=0))
    assert np.all(means[1] < means[0] / 3.0)


def exact_sum(case: Case):
    """U, F and both torques of two clouds of point masses, by the double sum over their points."""
    arm1, arm2 = case.one.points_m @ case.C1.T, case.two.points_m @ case.C2.T
    d = case.r_m + arm2[None] - arm1[:, None]
    length = np.linalg.norm(d, axis=2)
    weight = G * case.one.masses_kg[:, None] * case.two.masses_kg[None]
    pull = -(weight / length**3)[:, :, None] * d
    torque1, torque2 = np.cross(arm1, -pull.sum(axis=1)).sum(axis=0), np.cross(arm2, pull.sum(axis=0)).sum(axis=0)
    return -np.sum(weight / length), pull.sum(axis=(0, 1)), torque1, torque2


@cache
def cloud_pairs(distances):
    """Fifty random pairs of clouds, exact to rounding (torque 1e-16 (r/R)^2 of itself): general bodies without any
    cubature.
    """
    random, rows = np.random.default_rng(99), []
    for _ in range(50):
        one, two = Cloud.random(random, size_m=random.uniform(80.0, 300.0)), Cloud.random(random)
        (C1, C2), direction = attitudes(random, 2), unit(random)
        near = one.bounding_radius_m + two.bounding_radius_m
        cases = [Case(one, two, distance * near * direction, C1, C2) for distance in distances]
        rows.append([(case, exact_sum(case)) for case in cases])
    return rows


@pytest.mark.parametrize("degree", [2, 4, 6, 8])
def test_errors_of_any_bodies_fall_as_declared(degree):
    """U and F as (R/r)^(N+1), a torque against itself as (R/r)^(N-1); and every single error below the sum of the
    omitted terms.
    """
    pairs = cloud_pairs(CLOUD_DISTANCES[degree])
    errors = np.array([[relative_errors(case, theirs, degree) for case, theirs in row] for row in pairs])
    declared = np.array([degree + 1, degree + 1, degree - 1, degree - 1])
    assert MODELS[model_number(degree, False)].error == f"(R/r)^{degree + 1}"
    assert apart(fitted_exponents(errors, CLOUD_DISTANCES[degree]), declared) < SLOPE_TOLERANCE
    assert all(within_tail(case, theirs, degree, 1) for row in pairs for case, theirs in row)


def polyhedron_solid(body: Mesh, order: int, block: int) -> reference.Solid:
    """Reference of a polyhedron in its principal frame; `block` points at a time keep the memory small."""
    corners = np.asarray(body.vertices_m)[body.facets]
    solid = reference.polyhedron(body.vertices_m, body.facets, body.density_kg_m3, order)
    return reference.Solid(
        solid.points,
        solid.masses,
        lambda x: reference.polyhedron_attraction(corners, body.density_kg_m3, x, block),
    )


@pytest.mark.parametrize("degree", [2, 4, 6])
def test_lumpy_mesh_and_ellipsoid_fall_as_declared(degree):
    """The ellipsoid's attraction summed over a mesh, twelve pairs: the exponents of general bodies.

    Far apart, because the mesh's degree 6 is larger than its degree 5; there Werner & Scheeres' attraction, a
    difference of large numbers, serves only for the torque on the ellipsoid.  That torque does better at degree 2:
    the ellipsoid's quadrupole meets the mesh's mass (degree 2), quadrupole (4) and octupole (5), so that the first
    omitted term is of degree 4, not 3.
    """
    random, errors = np.random.default_rng(5), []
    distances = {2: 16.0, 4: 16.0, 6: 8.0}[degree] * np.array([1.0, 1.425, 2.0])
    for seed in range(12):
        one, two = Mesh(*meshes.lumpy(2, seed, 300.0), 2200.0), random_ellipsoid(random, 120.0)
        (C1, C2), direction = attitudes(random, 2), unit(random)
        solids = polyhedron_solid(one, 6, 500), reference.ellipsoid(two.semi_axes_m, two.density_kg_m3, order=6)
        row = []
        for distance in distances * (one.bounding_radius_m + two.bounding_radius_m):
            case = Case(one, two, distance * direction, C1, C2)
            potential, force1, torque2, torque1 = reference.pair(solids[1], solids[0], -case.r_m, C2, C1)
            row.append(relative_errors(case, (potential, -force1, torque1, torque2), degree))
        errors.append(row)
    declared = np.array([degree + 1, degree + 1, degree - 1, {2: 2}.get(degree, degree - 1)])
    exponents = fitted_exponents(np.array(errors), distances)
    assert apart(exponents, declared) < SLOPE_TOLERANCE


def test_lumpy_mesh_and_ellipsoid_close_by():
    """Both attractions at 1.4 (R1 + R2), Werner & Scheeres over the ellipsoid and back; errors below the sum of the
    omitted terms, and degree 4 closer than degree 2 in the mean.
    """
    random, errors = np.random.default_rng(6), []
    for seed in range(8):
        one, two = Mesh(*meshes.lumpy(3, seed, 300.0), 2200.0), random_ellipsoid(random, 120.0)
        (C1, C2), direction = attitudes(random, 2), unit(random)
        solids = polyhedron_solid(one, 5, 500), reference.ellipsoid(two.semi_axes_m, two.density_kg_m3, order=7)
        case = Case(one, two, 1.4 * (one.bounding_radius_m + two.bounding_radius_m) * direction, C1, C2)
        theirs = reference.pair(*solids, case.r_m, C1, C2)
        assert within_tail(case, theirs, 2, 1) and within_tail(case, theirs, 4, 1)
        errors.append([relative_errors(case, theirs, degree) for degree in (2, 4)])
    means = np.exp(np.log(errors).mean(axis=0))
    assert np.all(means[1] < means[0] / 3.0)


@pytest.mark.parametrize("number", [4769, 25143])
def test_real_shapes_against_both_attractions(shapes_folder, number):
    """Meshes of thousands of facets, the ellipsoid a fifth of their size, at 1.6 and 3.2 (R1 + R2)."""
    (path,) = shapes_folder.glob(f"*{number}*")
    one = Mesh.read(path, "km", density_kg_m3=2100.0)
    a = one.bounding_radius_m
    two = Ellipsoid((0.2 * a, 0.16 * a, 0.12 * a), 2100.0)
    random = np.random.default_rng(number)
    (C1, C2), direction = attitudes(random, 2), unit(random)
    solids = polyhedron_solid(one, 3, 50), reference.ellipsoid(two.semi_axes_m, two.density_kg_m3, order=5)
    for distance in (1.6, 3.2):
        case = Case(one, two, distance * (a + two.bounding_radius_m) * direction, C1, C2)
        theirs = reference.pair(*solids, case.r_m, C1, C2)
        assert within_tail(case, theirs, 2, 1) and within_tail(case, theirs, 4, 1)
        assert np.all(relative_errors(case, theirs, 4)[:2] < relative_errors(case, theirs, 2)[:2])


# Closed forms ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("general", [False, True])
def test_degree_2_is_the_second_order_formula(general):
    """U = -(G M1 M2/r){1 + [tr J - 3 n.J n]/(2 r^2)}, J = I1/M1 + I2/M2 (Scheeres 2009, CMDA 104, 103), its gradient
    by hand, and the gravity-gradient torques 3 G M'/r^5 r x I r (textbook, from memory); equal to rounding, 1e-14.
    """
    random = np.random.default_rng(31)
    for _ in range(10):
        one, two = two_ellipsoids(random)
        (C1, C2), r = attitudes(random, 2), unit(random) * random.uniform(1000.0, 3000.0)
        pair = (AsGeneral(one), AsGeneral(two)) if general else (one, two)
        g = mutual_gravity(*pair, r, C1, C2, degree=2)
        I1, I2 = C1 @ np.diag(one.inertia_kg_m2) @ C1.T, C2 @ np.diag(two.inertia_kg_m2) @ C2.T
        J, d = I1 / one.mass_kg + I2 / two.mass_kg, np.linalg.norm(r)
        size = G * one.mass_kg * two.mass_kg
        rJr = r @ J @ r
        potential = -size * (1.0 / d + np.trace(J) / (2.0 * d**3) - 1.5 * rJr / d**5)
        force = -size * (r / d**3 + 1.5 * np.trace(J) * r / d**5 + 3.0 * J @ r / d**5 - 7.5 * rJr * r / d**7)
        torque1 = 3.0 * G * two.mass_kg / d**5 * np.cross(r, I1 @ r)
        torque2 = 3.0 * G * one.mass_kg / d**5 * np.cross(r, I2 @ r)
        assert abs(g.potential_J - potential) < 1e-14 * abs(potential)
        assert apart(g.force_N, force) < 1e-14 * np.linalg.norm(force)
        assert apart(g.torque1_N_m, torque1) < 1e-14 * size / d and apart(g.torque2_N_m, torque2) < 1e-14 * size / d


def test_oblate_spheroid_on_its_equator_and_axis():
    """U = -(GM m/r)[1 - J2 (R/r)^2 P2 - J4 (R/r)^4 P4], J4 R^4 = -15/7 (J2 R^2)^2 (handbook), at latitude 0 and 90
    deg, to 1e-14.
    """
    spheroid, mote = Ellipsoid((400.0, 400.0, 300.0), 2000.0), Ellipsoid((1.0, 1.0, 1.0), 2000.0)
    j2 = (400.0**2 - 300.0**2) / 5.0
    j4 = -15.0 / 7.0 * j2**2
    for direction, p2, p4 in (([1.0, 0.0, 0.0], -0.5, 0.375), ([0.0, 0.0, 1.0], 1.0, 1.0)):
        r = 900.0
        g = mutual_gravity(spheroid, mote, r * np.array(direction), np.eye(3), np.eye(3), degree=4)
        point = -G * spheroid.mass_kg * mote.mass_kg / r
        assert abs(g.potential_J / point - (1.0 - j2 * p2 / r**2 - j4 * p4 / r**4)) < 1e-14


@pytest.mark.parametrize("degree", [0, 1, 3, 5, 7, 10, -2, "4"])
def test_other_degrees_are_refused_by_name(degree):
    one = Ellipsoid((3.0, 2.0, 1.0), 2000.0)
    with pytest.raises(ValueError, match="degree.* is given, allowed is (one of 2, 4, 6, 8|a whole number)"):
        mutual_gravity(one, one, [9.0, 0.0, 0.0], np.eye(3), np.eye(3), degree=degree)


# Multipoles -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [2, 3, 4])
def test_multipoles_are_harmonic(n):
    """The tensor of degree n has no trace: T_xx.. + T_yy.. + T_zz.. = 0 for every rest; 1e-14 of its largest
    component.
    """
    T = multipole(Cloud.random(np.random.default_rng(n)), n)
    largest = max(map(abs, T.values()))
    for i, j, k in powers(n - 2):
        assert abs(T[i + 2, j, k] + T[i, j + 2, k] + T[i, j, k + 2]) < 1e-14 * largest


@pytest.mark.parametrize("n", [2, 3, 4])
def test_multipoles_are_legendre_integrals(n):
    """T x^n = (1/M) int |x|^n s^n P_n(cos) dm for a cloud of points, P_n by numpy; 1e-13 of the largest term."""
    random = np.random.default_rng(10 + n)
    cloud = Cloud.random(random)
    T = multipole(cloud, n)
    for _ in range(5):
        x = unit(random)
        s = np.linalg.norm(cloud.points_m, axis=1)
        legendre = np.polynomial.legendre.legval(cloud.points_m @ x / s, [0.0] * n + [1.0])
        integral = cloud.masses_kg @ (s**n * legendre) / cloud.mass_kg
        contracted = sum(multinomial(p) * T[p] * np.prod(x ** np.array(p)) for p in powers(n))
        assert abs(contracted - integral) < 1e-13 * s.max() ** n


def test_multipoles_of_an_ellipsoid():
    """J2 R^2 = (a^2 + b^2 - 2 c^2)/10 = -T_zz, C22 R^2 = (a^2 - b^2)/20 = (T_xx - T_yy)/6 (textbook, from memory); no
    odd ones.
    """
    a, b, c = 420.0, 380.0, 300.0
    body = Ellipsoid((a, b, c), 2400.0)
    T = multipole(body, 2)
    assert abs(-T[0, 0, 2] - (a * a + b * b - 2.0 * c * c) / 10.0) < 1e-14 * a * a
    assert abs((T[2, 0, 0] - T[0, 2, 0]) / 6.0 - (a * a - b * b) / 20.0) < 1e-14 * a * a
    assert set(multipole(body, 3).values()) == {0.0}


def test_fourth_multipole_of_a_spheroid():
    """J4 R^4 = -T_zzzz = -(15/7)(J2 R^2)^2 for a homogeneous spheroid (textbook, from memory)."""
    body = Ellipsoid((400.0, 400.0, 290.0), 2400.0)
    j2, j4 = -multipole(body, 2)[0, 0, 2], -multipole(body, 4)[0, 0, 4]
    assert abs(j4 + 15.0 / 7.0 * j2**2) < 1e-14 * 400.0**4


# The tape and the generated text --------------------------------------------------------------------------------------


def text_of(tape: Tape, *results) -> list[str]:
    """The lines between head and end of the function that a tape writes."""
    return tape.source("f", "a, b, c", list(results)).splitlines()[1:-1]


def test_products_with_zero_and_one_leave_no_trace():
    tape = Tape()
    a, b = tape.inputs("a", "b")
    assert a * 0.0 == 0.0 and 0.0 * a == 0.0
    assert a * 1.0 is a and 1.0 * a is a and a + 0.0 is a and 0.0 + a is a and a - 0.0 is a
    assert tape.lines == []
    assert text_of(tape, 0.0 - a) == ["    t0 = -a"]
    assert text_of(tape, -(a + b)) == ["    t1 = a + b", "    t2 = -t1"]


def test_equal_operations_are_written_once():
    tape = Tape()
    a, b = tape.inputs("a", "b")
    assert (a + b) is (b + a) and (a * b) is (b * a) and (a - b) is not (b - a)
    assert text_of(tape, (a + b) * (b + a)) == ["    t0 = a + b", "    t4 = t0 * t0"]


def test_a_product_that_one_sum_needs_is_fused_with_it():
    tape = Tape()
    a, b, c = tape.inputs("a", "b", "c")
    assert text_of(tape, a * b + c) == ["    t1 = fma(a, b, c)"]
    assert text_of(tape, c - a * b) == ["    t2 = fma(-a, b, c)"]
    assert text_of(tape, a * b - c) == ["    t3 = fma(a, b, -c)"]
    assert text_of(tape, a * b + c, a * b) == ["    t0 = a * b", "    t1 = c + t0"]
    assert text_of(tape, 2.0 * a + 3.0 * b) == ["    t4 = 2.0 * a", "    t6 = fma(3.0, b, t4)"]


def test_operations_without_use_are_left_out():
    tape = Tape()
    a, b = tape.inputs("a", "b")
    unused = (a + b) * b
    assert text_of(tape, a - b) == ["    t2 = a - b"] and unused.name == "t1"


def test_of_an_array_only_what_is_needed_is_read():
    tape = Tape()
    (a,), (p, q) = tape.inputs("a"), tape.array("c", [0, 3])
    text = tape.source("f", "a, c", [a * q])
    scope = {}
    exec(text, scope)
    assert "c0" not in text and scope["f"](3.0, [7.0, 0.0, 0.0, 5.0]) == 15.0 and p.name == "c0"
    assert tape.body([a * q], {"c": "w[8 * {} + l]".format}) == ["c3 = w[8 * 3 + l]", "t0 = a * c3"]
    assert tape.body([a * q], {}) == ["t0 = a * c3"] and tape.places == {"c0": ("c", 0), "c3": ("c", 3)}


def test_numbers_keep_all_their_digits():
    tape = Tape()
    (a,) = tape.inputs("a")
    scope = {}
    exec(tape.source("f", "a", [(1.0 / 3.0) * a, 2.0]), scope)
    assert scope["f"](3.0) == (3.0 * (1.0 / 3.0), 2.0)


@pytest.mark.parametrize("degree, even", MODEL_IDS)
def test_generated_text_is_straight(degree, even):
    """Each kernel is assignments of one operation, fused or not, or of one parameter, and a return.

    No loop, no branch, no array, no call but fma.
    """
    functions = [node for node in ast.walk(ast.parse(source(degree, even))) if isinstance(node, ast.FunctionDef)]
    assert [f.name for f in functions] == ["field", "potential"]
    allowed = (ast.BinOp, ast.UnaryOp, ast.Name, ast.Constant, ast.operator, ast.unaryop, ast.expr_context, ast.Tuple)
    for function in functions:
        *body, last = function.body
        assert isinstance(last, ast.Return) and len(body) > 10
        for line in body:
            assert isinstance(line, ast.Assign) and len(line.targets) == 1
            value = line.value
            if isinstance(value, ast.Subscript):
                assert value.value.id == "c" and isinstance(value.slice, ast.Constant)
                continue
            if isinstance(value, ast.Call):
                assert value.func.id == "fma" and len(value.args) == 3
                assert all(isinstance(argument, ast.Name | ast.Constant | ast.UnaryOp) for argument in value.args)
                continue
            assert all(isinstance(node, allowed) for node in ast.walk(value))
            assert sum(isinstance(node, ast.BinOp) for node in ast.walk(value)) <= 1


@pytest.mark.parametrize("degree, even", MODEL_IDS)
def test_generated_text_gives_the_same_numbers_without_a_compiler(degree, even):
    """The text run by Python itself: equal to the compiled kernels but for fused multiply-adds, 1e-14 of the
    point-mass force.
    """
    text = source(degree, even).replace("from binarydyn._jit import fma, kernel", "")
    plain = {"fma": lambda a, b, c: a * b + c, "kernel": lambda f: f}
    exec(text, plain)
    random = np.random.default_rng(8)
    one, two = two_ellipsoids(random) if even else (Cloud.random(random), Cloud.random(random))
    (C1, C2), r = attitudes(random, 2), unit(random) * 1.5 * (one.bounding_radius_m + two.bounding_radius_m)
    d = float(np.linalg.norm(r))
    parameters = coefficients(one, two, degree, even)
    arguments = [*map(float, C1.T @ r), *map(float, C2.T @ r), 1.0 / d, *map(float, (C1.T @ C2).ravel())]
    compiled = module(model_number(degree, even))
    assert apart(plain["field"](*arguments, parameters.tolist()), compiled.field(*arguments, parameters)) < 1e-14 / d
    values = plain["potential"](*arguments, parameters.tolist()), compiled.potential(*arguments, parameters)
    assert apart(*values) < 1e-14 / d and abs(values[1]) > 1e-4 / d
