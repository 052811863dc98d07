"""Many bodies of one shape, each with its own size and density: a million pairs from one mesh's inertia integrals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..motion.state import Body


@dataclass(frozen=True)
class Scaled:
    """n bodies like `body`, size (n,) times as large, of density_kg_m3 (n,).

    Integrals of degree d grow as size^(3 + d).  `motion.equations.parameters` takes two of these like two bodies.
    """

    body: Body
    size: np.ndarray
    density_kg_m3: np.ndarray

    def __post_init__(self):
        if not (np.all(self.size > 0.0) and np.all(self.density_kg_m3 > 0.0)):
            raise ValueError("sizes and densities are to be above 0 in every case; drop the others")

    @cached_property
    def mass_kg(self) -> np.ndarray:
        """(n,), density times volume."""
        return self._grown(self.body.mass_kg, 0)

    def moment(self, i: int, j: int, k: int) -> np.ndarray:
        """(n,) integrals of rho x^i y^j z^k over the volume, kg m^(i+j+k), about the centre in principal axes."""
        return self._grown(self.body.moment(i, j, k), i + j + k)

    @cached_property
    def inertia_kg_m2(self) -> np.ndarray:
        """(3, n) principal moments of inertia, ascending."""
        return self._grown(self.body.inertia_kg_m2[:, None], 2)

    @property
    def is_even(self) -> bool:
        """As the body is."""
        return self.body.is_even

    @classmethod
    def joined(cls, parts: Sequence[Scaled]) -> Scaled:
        """One after the other; all of one body."""
        size = np.concatenate([part.size for part in parts])
        return cls(parts[0].body, size, np.concatenate([part.density_kg_m3 for part in parts]))

    def some(self, at: np.ndarray) -> Scaled:
        """Those at the places `at`."""
        return Scaled(self.body, self.size[at], self.density_kg_m3[at])

    @property
    def bounding_radius_m(self) -> np.ndarray:
        """(n,) farthest point from the centre of mass."""
        return self.body.bounding_radius_m * self.size

    def _grown(self, value, degree: int) -> np.ndarray:
        return value * (self.density_kg_m3 / self.body.density_kg_m3) * self.size ** (3 + degree)
