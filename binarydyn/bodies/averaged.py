"""A body averaged over its spin about z: what a slow motion feels of a primary that turns fast.

Every inertia integral is replaced by its mean over turns about z, <x^i y^j> z^k with rho^2 = x^2 + y^2:
<cos^i sin^j> int rho^(i+j) z^k dm, and <cos^i sin^j> = (i-1)!! (j-1)!! / (i+j)!! for even i and j, otherwise zero.
Leaves out the response at the difference of spin and orbit and its harmonics.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import comb, prod
from typing import Any

import numpy as np


def _semifactorial(n: int) -> int:
    return prod(range(n, 1, -2))


@dataclass(frozen=True, eq=False)
class Averaged:
    """The axially symmetric body with the z-averaged integrals of `body`; its radius and envelope hold every turn."""

    body: Any

    @property
    def mass_kg(self) -> float:
        """That of the body."""
        return self.body.mass_kg

    @property
    def is_even(self) -> bool:
        """True where the body is; an average is even in x and y, but not in z of a body that is not."""
        return self.body.is_even

    @property
    def bounding_radius_m(self) -> float:
        """That of the body."""
        return self.body.bounding_radius_m

    @property
    def enclosing_axes_m(self) -> np.ndarray:
        """(3,) the body's envelope, swept about z."""
        x, y, z = self.body.enclosing_axes_m
        return np.array([max(x, y), max(x, y), z])

    def moment(self, i: int, j: int, k: int) -> float:
        """int x^i y^j z^k dm, kg m^(i+j+k), averaged over turns about z."""
        if i % 2 or j % 2:
            return 0.0
        half = (i + j) // 2
        swept = sum(comb(half, a) * self.body.moment(2 * a, 2 * (half - a), k) for a in range(half + 1))
        return swept * _semifactorial(i - 1) * _semifactorial(j - 1) / _semifactorial(i + j)

    @cached_property
    def inertia_kg_m2(self) -> np.ndarray:
        """(3,) principal moments of inertia: the mean of the body's first two, twice, and its third."""
        x, y, z = self.body.inertia_kg_m2
        return np.array([0.5 * (x + y), 0.5 * (x + y), z])

    def scaled_mass(self, factor: float) -> Averaged:
        """The same shape with `factor` times the mass."""
        return replace(self, body=self.body.scaled_mass(factor))


@dataclass(frozen=True, eq=False)
class _Relabelled(Averaged):
    """A body whose chosen axis is called z."""

    axis: int = 2

    def moment(self, i: int, j: int, k: int) -> float:
        exponents = [0, 0, 0]
        for step, n in enumerate((k, i, j)):
            exponents[(self.axis + step) % 3] = n
        return self.body.moment(*exponents)


def round_axes(body, degree: int = 8, limit: float = 1e-12) -> tuple[int, ...]:
    """Principal axes about which any turn leaves the integrals to a degree as they are, to `limit` of M R^n.

    All three of a sphere, one of a spheroid, none of most bodies.
    """
    powers = [(i, j, n - i - j) for n in range(2, degree + 1) for i in range(n + 1) for j in range(n + 1 - i)]

    def is_round(axis: int) -> bool:
        named = _Relabelled(body, axis)
        mean, size = Averaged(named), body.mass_kg
        return all(
            abs(named.moment(*p) - mean.moment(*p)) <= limit * size * body.bounding_radius_m ** sum(p) for p in powers
        )

    return tuple(axis for axis in range(3) if is_round(axis))


ROUND = 1e-9
"""Relative difference of two moments of inertia below which they are one."""


def free_turns(inertia_kg_m2: np.ndarray) -> np.ndarray:
    """(3, ...) whether nothing locks the turn of a body about x, y, z, from its principal moments (3, ...), ascending.

    Where the other two moments agree the gradient of gravity has no grip: on a ball about any axis.
    """
    a, b, c = np.asarray(inertia_kg_m2)
    return np.array([c - b, c - a, b - a]) < ROUND * c
