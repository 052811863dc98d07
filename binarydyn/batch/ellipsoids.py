"""Many ellipsoids at once, as arrays: what the parameters of a million pairs are made from in a second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..bodies import Ellipsoid


@dataclass(frozen=True)
class Ellipsoids:
    """n homogeneous ellipsoids: semi_axes_m (3, n), a >= b >= c each, density_kg_m3 (n,).

    Quantities are those of bodies.Ellipsoid, one for each; `motion.equations.parameters` takes two of these like two
    bodies.
    """

    semi_axes_m: np.ndarray
    density_kg_m3: np.ndarray

    def __post_init__(self):
        a, b, c = self.semi_axes_m
        if not (np.all(a >= b) and np.all(b >= c) and np.all(c > 0.0) and np.all(self.density_kg_m3 > 0.0)):
            raise ValueError(
                "semi-axes are to be a >= b >= c > 0 and densities above 0 in every column; sort or drop them"
            )

    @cached_property
    def mass_kg(self) -> np.ndarray:
        """(n,), density times volume."""
        return 4.0 / 3.0 * np.pi * np.prod(self.semi_axes_m, axis=0) * self.density_kg_m3

    moment = Ellipsoid.moment

    @cached_property
    def inertia_kg_m2(self) -> np.ndarray:
        """(3, n) principal moments of inertia, ascending: M (b^2 + c^2) / 5 and its permutations."""
        a2, b2, c2 = np.square(self.semi_axes_m)
        return self.mass_kg / 5.0 * np.array([b2 + c2, a2 + c2, a2 + b2])

    is_even = Ellipsoid.is_even

    @classmethod
    def joined(cls, parts: Sequence[Ellipsoids]) -> Ellipsoids:
        """One after the other."""
        axes = np.concatenate([part.semi_axes_m for part in parts], axis=1)
        return cls(axes, np.concatenate([part.density_kg_m3 for part in parts]))

    def some(self, at: np.ndarray) -> Ellipsoids:
        """Those at the places `at`."""
        return Ellipsoids(self.semi_axes_m[:, at], self.density_kg_m3[at])

    @property
    def bounding_radius_m(self) -> np.ndarray:
        """(n,): a."""
        return self.semi_axes_m[0]
