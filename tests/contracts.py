"""What any model of mutual gravity must obey; a test class inherits GravityContract and gives its degree and its
bodies.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from binarydyn.gravity import MutualGravity, mutual_gravity

G = 6.67430e-11  # m3 kg-1 s-2, CODATA 2018
ROUNDING = 2.0**-53


@dataclass(frozen=True, eq=False)
class Cloud:
    """Point masses (n,) at points (n, 3), m, in their principal frame about the centre of mass: a body of any shape,
    summed exactly.
    """

    points_m: np.ndarray
    masses_kg: np.ndarray

    @classmethod
    def random(cls, random: np.random.Generator, count: int = 9, size_m: float = 100.0) -> "Cloud":
        """Unequal masses in a box of 2 x 1.6 x 1.2 sizes, so that all moments differ and no odd one vanishes."""
        masses = random.uniform(0.5, 1.5, count) * 1e9
        points = size_m * random.uniform(-1.0, 1.0, (count, 3)) * [1.0, 0.8, 0.6]
        points -= masses @ points / masses.sum()
        second = np.einsum("n,ni,nj", masses, points, points)
        axes = np.linalg.eigh(second)[1][:, ::-1]
        axes[:, 2] *= np.linalg.det(axes)
        points = points @ axes
        return cls(points - masses @ points / masses.sum(), masses)

    @property
    def mass_kg(self) -> float:
        return float(self.masses_kg.sum())

    def moment(self, i: int, j: int, k: int) -> float:
        return float(self.masses_kg @ np.prod(self.points_m ** np.array([i, j, k]), axis=1))

    @cached_property
    def inertia_kg_m2(self) -> np.ndarray:
        xx, yy, zz = self.masses_kg @ self.points_m**2
        return np.array([yy + zz, xx + zz, xx + yy])

    is_even = False

    @property
    def bounding_radius_m(self) -> float:
        return float(np.linalg.norm(self.points_m, axis=1).max())

    @property
    def enclosing_axes_m(self) -> np.ndarray:
        return np.full(3, self.bounding_radius_m)


@dataclass(frozen=True, eq=False)
class AsGeneral:
    """The same body without the promise that it is even, so that the kernels for any bodies serve it."""

    body: object
    is_even = False

    def __getattr__(self, name):
        return getattr(self.body, name)


def attitudes(random: np.random.Generator, count: int) -> list[np.ndarray]:
    """Rotation matrices, uniformly distributed."""
    return list(Rotation.from_quat(random.normal(size=(count, 4))).as_matrix())


@dataclass(frozen=True, eq=False)
class Case:
    """Two bodies in one configuration."""

    one: object
    two: object
    r_m: np.ndarray
    C1: np.ndarray
    C2: np.ndarray

    @property
    def size_J(self) -> float:
        """G M1 M2 / r, to which potentials, and times 1/r forces, are compared."""
        return G * self.one.mass_kg * self.two.mass_kg / float(np.linalg.norm(self.r_m))

    @property
    def reach(self) -> float:
        """(R1 + R2) / r."""
        return (self.one.bounding_radius_m + self.two.bounding_radius_m) / float(np.linalg.norm(self.r_m))


def field(case: Case, degree: int, **other) -> MutualGravity:
    """Mutual gravity of a case, with some of its parts replaced."""
    parts = {"one": case.one, "two": case.two, "r_m": case.r_m, "C1": case.C1, "C2": case.C2} | other
    return mutual_gravity(parts["one"], parts["two"], parts["r_m"], parts["C1"], parts["C2"], degree)


def apart(ours, theirs) -> float:
    """Largest difference."""
    return float(np.max(np.abs(np.subtract(ours, theirs))))


def seventh_derivative(case: Case, degree: int) -> float:
    """Bound on r^7 d^7 U / dx^7 over G M1 M2 / r: sum over n <= degree of (n+7)!/n! reach^n, a term of degree n being
    at most reach^n r^-(n+1) on a sphere, and its derivatives largest along r (Hobson 1931, ch. IV).
    """
    return sum(np.prod(np.arange(n + 1.0, n + 8.0)) * case.reach**n for n in range(degree + 1))


class GravityContract:
    """Inherit, set `degree`, and return configurations (r > R1 + R2) from `cases`; the bodies decide which kernels
    serve.
    """

    degree: int
    step = 3e-3
    seed = 7

    def bodies(self, random: np.random.Generator):
        """Two bodies of the kind under test, random ones."""
        raise NotImplementedError

    @pytest.fixture(params=range(4), ids=lambda k: f"pair {k}")
    def case(self, request) -> Case:
        """A random configuration, at 1.3 to 4 times R1 + R2."""
        random = np.random.default_rng([self.seed, request.param])
        one, two = self.bodies(random)
        direction = random.normal(size=3)
        distance = (1.3 + 0.9 * request.param) * (one.bounding_radius_m + two.bounding_radius_m)
        return Case(one, two, distance * direction / np.linalg.norm(direction), *attitudes(random, 2))

    def differences(self, case: Case, value) -> list:
        """Derivatives of value(r) along the axes: central differences of sixth order over steps of 0.003 r."""
        h = self.step * float(np.linalg.norm(case.r_m))
        weights = {1: 45.0, 2: -9.0, 3: 1.0}
        out = []
        for e in np.eye(3):
            pairs = (w * (value(case.r_m + k * h * e) - value(case.r_m - k * h * e)) for k, w in weights.items())
            out.append(sum(pairs) / (60.0 * h))
        return out

    def difference_error(self, case: Case, rise: int = 0) -> float:
        """Error of `differences`, relative to G M1 M2 / r^2: h^6/140 times the seventh derivative, and the rounding
        of the values.

        Rounding: 110/60 values a step apart, each good to 8 roundings of the largest term; a component of the force
        is one derivative higher.
        """
        truncation = self.step**6 / 140.0 * seventh_derivative(case, self.degree) * (self.degree + 8.0) ** rise
        return truncation + 8.0 * ROUNDING * 110.0 / 60.0 / self.step

    def test_force_is_minus_the_gradient(self, case):
        slope = self.differences(case, lambda r: field(case, self.degree, r_m=r).potential_J)
        unit = case.size_J / np.linalg.norm(case.r_m)
        assert apart(field(case, self.degree).force_N, -np.array(slope)) < self.difference_error(case) * unit

    def test_force_has_no_sources_and_no_curl(self, case):
        """U is harmonic in r at every degree: the jacobian of the force is symmetric and without trace."""
        jacobian = np.array(self.differences(case, lambda r: field(case, self.degree, r_m=r).force_N))
        limit = 3.0 * self.difference_error(case, rise=1) * case.size_J / (case.r_m @ case.r_m)
        assert abs(np.trace(jacobian)) < limit and apart(jacobian, jacobian.T) < limit

    @pytest.mark.parametrize("which", [1, 2])
    def test_torque_is_minus_the_derivative_under_turns(self, case, which):
        """While a body turns about a fixed axis U is a trigonometric polynomial of degree N: 2N + 1 values give its
        derivative exactly.

        d/da at 0 = sum_j U(2 pi j/(2N+1)) (-1)^(j+1) / (2 sin(pi j/(2N+1))) (Fornberg 1996, A Practical Guide to
        Pseudospectral Methods, from memory); rounding: 8 roundings of U times the sum of the weights.
        """
        count = 2 * self.degree + 1
        angles = 2.0 * np.pi * np.arange(1, count) / count
        weights = np.array([(-1.0) ** (j + 1) for j in range(1, count)]) / (2.0 * np.sin(angles / 2.0))
        here = field(case, self.degree)
        torque = here.torque1_N_m if which == 1 else here.torque2_N_m
        for axis in range(3):
            slope = 0.0
            for angle, weight in zip(angles, weights, strict=True):
                turn = Rotation.from_rotvec(angle * np.eye(3)[axis]).as_matrix()
                turned = {"C1": turn @ case.C1} if which == 1 else {"C2": turn @ case.C2}
                slope += weight * field(case, self.degree, **turned).potential_J
            assert abs(torque[axis] + slope) < 8.0 * ROUNDING * np.abs(weights).sum() * case.size_J

    def test_torques_balance_the_moment_of_the_force(self, case):
        """Angular momentum: tau1 + tau2 + r x F = 0 to 1e-13 |r||F|."""
        g = field(case, self.degree)
        arm = np.linalg.norm(case.r_m) * np.linalg.norm(g.force_N)
        assert np.linalg.norm(g.torque1_N_m + g.torque2_N_m + np.cross(case.r_m, g.force_N)) <= 1e-13 * arm

    def test_exchange_of_the_bodies(self, case):
        """Newton's third law: the same system seen from the other body, to 1e-14 (some 50 roundings)."""
        g = field(case, self.degree)
        h = mutual_gravity(case.two, case.one, -case.r_m, case.C2, case.C1, self.degree)
        arm = np.linalg.norm(case.r_m) * np.linalg.norm(g.force_N)
        assert abs(h.potential_J - g.potential_J) < 1e-14 * case.size_J
        assert apart(h.force_N, -g.force_N) < 1e-14 * np.linalg.norm(g.force_N)
        assert apart(h.torque1_N_m, g.torque2_N_m) < 1e-14 * arm and apart(h.torque2_N_m, g.torque1_N_m) < 1e-14 * arm

    def test_a_common_rotation_turns_everything_with_it(self, case):
        """Isotropy of space, to 1e-14."""
        g = field(case, self.degree)
        Q = Rotation.from_rotvec([0.4, -1.1, 2.0]).as_matrix()
        h = field(case, self.degree, r_m=Q @ case.r_m, C1=Q @ case.C1, C2=Q @ case.C2)
        arm = np.linalg.norm(case.r_m) * np.linalg.norm(g.force_N)
        assert abs(h.potential_J - g.potential_J) < 1e-14 * case.size_J
        assert apart(h.force_N, Q @ g.force_N) < 1e-14 * np.linalg.norm(g.force_N)
        assert apart(h.torque1_N_m, Q @ g.torque1_N_m) < 1e-14 * arm
        assert apart(h.torque2_N_m, Q @ g.torque2_N_m) < 1e-14 * arm

    def test_far_apart_they_are_points(self, case):
        """At 1e8 (R1 + R2) what is left of the shapes, (R/r)^2 of the force and of |r||F| in the torques, is below
        rounding.
        """
        r = case.r_m * case.reach * 1e8
        g = field(case, self.degree, r_m=r)
        point = -G * case.one.mass_kg * case.two.mass_kg / np.linalg.norm(r)
        assert abs(g.potential_J - point) < 1e-15 * abs(point)
        assert apart(g.force_N, point * r / (r @ r)) < 1e-15 * np.linalg.norm(g.force_N)
        assert max(np.linalg.norm(g.torque1_N_m), np.linalg.norm(g.torque2_N_m)) < 1e-15 * abs(point)

    def test_says_where_the_series_need_not_converge(self, case):
        """Circumscribed spheres that overlap are flagged."""
        touching = case.r_m * case.reach
        assert field(case, self.degree, r_m=1.001 * touching).converged
        assert not field(case, self.degree, r_m=0.999 * touching).converged
