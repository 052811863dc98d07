"""The slow reference of mutual gravity, checked against limits, symmetries and Laplace's equation before it is used."""

import meshes
import numpy as np
import pytest
import reference_gravity as reference
from scipy.spatial.transform import Rotation

AXES1, RHO1 = np.array([420.0, 380.0, 300.0]), 2400.0
AXES2, RHO2 = np.array([110.0, 85.0, 60.0]), 2100.0
R = np.array([700.0, -350.0, 260.0])
C1, C2 = Rotation.from_rotvec([0.3, -0.5, 0.9]).as_matrix(), Rotation.from_rotvec([-1.1, 0.4, 0.7]).as_matrix()


def mass(axes, rho):
    return 4.0 / 3.0 * np.pi * np.prod(axes) * rho


def moments(axes, rho):
    """Principal moments of inertia of a homogeneous ellipsoid (textbook)."""
    a2, b2, c2 = np.square(axes)
    return mass(axes, rho) / 5.0 * np.array([b2 + c2, a2 + c2, a2 + b2])


def close(one, two, relative):
    return np.linalg.norm(np.subtract(one, two)) <= relative * np.linalg.norm(two)


def test_ellipsoid_pair_has_converged():
    """Order 20 and order 28 agree to rounding: 1e-13 of U and F, of the torques 1e-13 of |r||F|."""
    low, high = (reference.ellipsoid_pair(AXES1, RHO1, AXES2, RHO2, R, C1, C2, order=n) for n in (20, 28))
    arm = np.linalg.norm(R) * np.linalg.norm(high[1])
    assert close(low[0], high[0], 1e-13) and close(low[1], high[1], 1e-13)
    assert np.linalg.norm(low[2] - high[2]) < 1e-13 * arm and np.linalg.norm(low[3] - high[3]) < 1e-13 * arm


def test_newtons_third_law_by_swapping_roles():
    """Body 1 over body 2 and body 2 over body 1 are different sums; U, F and tau1 + tau2 + r x F = 0 must agree."""
    U, F, torque1, torque2 = reference.ellipsoid_pair(AXES1, RHO1, AXES2, RHO2, R, C1, C2)
    V, E, swapped2, swapped1 = reference.ellipsoid_pair(AXES2, RHO2, AXES1, RHO1, -R, C2, C1)
    assert close(U, V, 1e-12) and close(F, -E, 1e-12)
    assert np.array_equal(swapped1, torque1) and np.array_equal(swapped2, torque2)
    assert np.linalg.norm(torque1 + torque2 + np.cross(R, F)) < 1e-12 * np.linalg.norm(R) * np.linalg.norm(F)
    assert np.linalg.norm(torque1) > 1e-3 * np.linalg.norm(R) * np.linalg.norm(F)


def test_force_is_minus_the_gradient_of_the_potential():
    """Central differences of fourth order: error h^4 U'''''/30 = 4 (h/r)^4 F for a point mass, 9e-12 at h = 1 m."""
    h, gradient = 1.0, np.zeros(3)
    for axis, e in enumerate(np.eye(3)):
        U = [reference.ellipsoid_pair(AXES1, RHO1, AXES2, RHO2, R + k * h * e, C1, C2)[0] for k in (-2, -1, 1, 2)]
        gradient[axis] = (U[0] - 8 * U[1] + 8 * U[2] - U[3]) / (12 * h)
    assert close(-gradient, reference.ellipsoid_pair(AXES1, RHO1, AXES2, RHO2, R, C1, C2)[1], 1e-10)


def test_far_apart_they_are_points():
    """At 1e5 radii U = -G M1 M2 / r up to (R1/r)^2 = 1e-10."""
    r = 1e5 * AXES1[0] * np.array([0.6, 0.0, 0.8])
    U, F, *_ = reference.ellipsoid_pair(AXES1, RHO1, AXES2, RHO2, r, C1, C2, order=6)
    point = -reference.G * mass(AXES1, RHO1) * mass(AXES2, RHO2) / np.linalg.norm(r)
    assert close(U, point, 1e-10) and close(F, point * r / (r @ r), 1e-10)


def test_second_order_formula_with_the_next_term_as_error():
    """Scheeres 2009, CMDA 104, 103; even bodies leave (R/r)^4: halving R/r divides the rest by 16 (15 to 17)."""
    I1, I2 = (
        C @ np.diag(moments(axes, rho)) @ C.T / mass(axes, rho)
        for C, axes, rho in ((C1, AXES1, RHO1), (C2, AXES2, RHO2))
    )
    left = []
    for factor in (8.0, 16.0):
        r = factor * R
        d = np.linalg.norm(r)
        n = r / d
        second = 1.0 + (np.trace(I1 + I2) - 3.0 * n @ (I1 + I2) @ n) / (2.0 * d * d)
        point = -reference.G * mass(AXES1, RHO1) * mass(AXES2, RHO2) / d
        left.append(reference.ellipsoid_pair(AXES1, RHO1, AXES2, RHO2, r, C1, C2)[0] / point - second)
    assert abs(left[0]) < (AXES1[0] / np.linalg.norm(8.0 * R)) ** 4
    assert 15.0 < left[0] / left[1] < 17.0


def test_sphere_attracts_as_a_point_and_inside_linearly():
    """Newton's shell theorem, outside; -4/3 pi G rho x inside."""
    x = np.array([[300.0, 40.0, -20.0], [10.0, 20.0, 30.0]])
    potential, field = reference.ellipsoid_attraction(np.full(3, 100.0), 2000.0, x)
    strength = reference.G * mass(np.full(3, 100.0), 2000.0)
    assert close(potential[0], strength / np.linalg.norm(x[0]), 1e-14)
    assert close(field[0], -strength * x[0] / np.linalg.norm(x[0]) ** 3, 1e-14)
    assert close(field[1], -4.0 / 3.0 * np.pi * reference.G * 2000.0 * x[1], 1e-14)


def ellipsoid_attraction(x):
    return reference.ellipsoid_attraction(AXES1, RHO1, x)


def polyhedron_attraction(x):
    vertices, facets = meshes.lumpy(3, seed=5)
    return reference.polyhedron_attraction(vertices[facets], RHO1, x)


@pytest.mark.parametrize(
    "attraction, x, sources",
    [
        (ellipsoid_attraction, [500.0, 200.0, -100.0], 0.0),
        (ellipsoid_attraction, [100.0, 200.0, -100.0], 1.0),
        (polyhedron_attraction, [200.0, 100.0, -100.0], 0.0),
        (polyhedron_attraction, [40.0, -10.0, 20.0], 1.0),
    ],
)
def test_laplace_outside_and_poisson_inside(attraction, x, sources):
    """Divergence of the field: zero outside, -4 pi G rho inside; field = gradient (differences over 0.1 m)."""
    h = 0.1
    ends = np.array([np.add(x, s * h * e) for e in np.eye(3) for s in (1, -1)])
    potential, field = attraction(ends)
    jacobian = (field[0::2] - field[1::2]) / (2 * h)
    unit = 4.0 * np.pi * reference.G * RHO1
    assert abs(np.trace(jacobian) + sources * unit) < 1e-6 * unit
    assert np.abs(jacobian - jacobian.T).max() < 1e-6 * unit
    here = attraction(np.array([x]))[1][0]
    assert np.abs((potential[0::2] - potential[1::2]) / (2 * h) - here).max() < 1e-6 * np.abs(here).max()


def test_polyhedron_and_ellipsoid_agree_from_both_sides():
    """Werner & Scheeres' attraction summed over the ellipsoid, Carlson's over the polyhedron: the same to 1e-11."""
    vertices, facets = meshes.lumpy(2, seed=3)
    r = np.array([300.0, 150.0, -120.0])
    one, two = reference.polyhedron(vertices, facets, RHO1, 10), reference.ellipsoid([60.0, 45.0, 40.0], RHO2, 20)
    U, F, torque1, torque2 = reference.pair(one, two, r, C1, C2)
    V, E, *_ = reference.pair(two, one, -r, C2, C1)
    assert close(V, U, 1e-11) and close(-E, F, 1e-11)
    assert np.linalg.norm(torque1 + torque2 + np.cross(r, F)) < 1e-11 * np.linalg.norm(r) * np.linalg.norm(F)


def test_inscribed_polyhedra_attract_like_the_ellipsoid_at_second_order():
    """Halving the facets divides the difference from the ellipsoid's attraction by 4 (3.8 to 4.2)."""
    x = np.array([[500.0, 200.0, -300.0]])
    exact = reference.ellipsoid_attraction(AXES1, RHO1, x)[0][0]
    left = []
    for n in (8, 16):
        vertices, facets = meshes.ellipsoid_mesh(AXES1, n)
        left.append(reference.polyhedron_attraction(vertices[facets], RHO1, x)[0][0] - exact)
    assert 3.8 < left[0] / left[1] < 4.2
