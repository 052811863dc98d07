"""A homogeneous triaxial ellipsoid: its mass, its inertia integrals in closed form and its surface."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import isfinite, pi, prod
from typing import Any

import numpy as np

from ..errors import InputError
from ..kinds import as_shown
from .surface import Facets, Hit, direction_of, ellipsoid_mean_normal, hit_ellipsoid


def positive(place: str, value: float) -> float:
    """The value as a float if it is finite and above zero; InputError otherwise."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not (isfinite(number) and number > 0.0):
        raise InputError(place, f"{as_shown(value)} given, a finite number above zero is allowed; correct the value")
    return number


def _listed(axes: object) -> str:
    return str(list(axes)) if isinstance(axes, tuple | list) and len(axes) < 5 else as_shown(axes)


@dataclass(frozen=True)
class Ellipsoid:
    """Homogeneous ellipsoid of semi-axes a >= b >= c along x, y, z of its own frame, which is principal.

    semi_axes_m three lengths, density_kg_m3 one; InputError if they are not finite, positive and in that order.
    """

    semi_axes_m: tuple[float, float, float]
    density_kg_m3: float

    def __post_init__(self):
        try:
            axes = tuple(self.semi_axes_m)
        except TypeError:
            axes = ()
        if len(axes) != 3:
            raise InputError(
                "semi_axes_m", f"{_listed(self.semi_axes_m)} given, three lengths are allowed; give [a, b, c]"
            )
        axes = tuple(positive("semi_axes_m", axis) for axis in axes)
        if not axes[0] >= axes[1] >= axes[2]:
            raise InputError("semi_axes_m", f"{list(axes)} given, a >= b >= c is allowed; sort them, longest first")
        object.__setattr__(self, "semi_axes_m", axes)
        object.__setattr__(self, "density_kg_m3", positive("density_kg_m3", self.density_kg_m3))
        positive("mass_kg (density times volume)", self.mass_kg)

    @classmethod
    def of_mass(cls, semi_axes_m, mass_kg: float) -> Ellipsoid:
        """The ellipsoid of these semi-axes whose density gives it this mass."""
        return cls(semi_axes_m, positive("mass_kg", mass_kg) / cls(semi_axes_m, 1.0).volume_m3)

    @property
    def scenario_keys(self) -> dict[str, Any]:
        """What a scenario says of it."""
        return {"semi_axes_m": list(self.semi_axes_m), "density_kg_m3": self.density_kg_m3}

    @property
    def volume_m3(self) -> float:
        """4/3 pi a b c."""
        return 4.0 / 3.0 * pi * prod(self.semi_axes_m)

    @property
    def mass_kg(self) -> float:
        """Density times volume."""
        return self.density_kg_m3 * self.volume_m3

    def moment(self, i: int, j: int, k: int) -> float:
        """int x^i y^j z^k dm about the centre, kg m^(i+j+k), to any degree; zero if any exponent is odd, otherwise
        3 M a^i b^j c^k (i-1)!! (j-1)!! (k-1)!! / (i+j+k+3)!! (the integral over the unit ball, mapped to the axes).
        """
        if min(i, j, k) < 0:
            raise InputError("moment", f"exponents {(i, j, k)} given, whole numbers from zero are allowed")
        if i % 2 or j % 2 or k % 2:
            return 0.0
        lengths = prod(axis**n for axis, n in zip(self.semi_axes_m, (i, j, k), strict=True))
        fraction = 3.0 * prod(map(_odd_product, (i - 1, j - 1, k - 1))) / _odd_product(i + j + k + 3)
        return self.mass_kg * lengths * fraction

    @cached_property
    def inertia_kg_m2(self) -> np.ndarray:
        """(3,) principal moments of inertia, ascending: M (b^2 + c^2) / 5 and its permutations."""
        a2, b2, c2 = np.square(self.semi_axes_m)
        return self.mass_kg / 5.0 * np.array([b2 + c2, a2 + c2, a2 + b2])

    @property
    def is_even(self) -> bool:
        """True: the body is its own mirror image in the three principal planes, so that odd moments vanish."""
        return True

    @property
    def bounding_radius_m(self) -> float:
        """Radius of the sphere about the centre of mass that holds the body: a."""
        return self.semi_axes_m[0]

    @property
    def enclosing_axes_m(self) -> np.ndarray:
        """(3,) semi-axes of an ellipsoid in the principal frame that encloses the body: its own."""
        return np.array(self.semi_axes_m)

    @property
    def axes(self) -> np.ndarray:
        """(3, 3) rotation from the frame of the semi-axes to the principal frame: none."""
        return np.eye(3)

    @property
    def centre_m(self) -> np.ndarray:
        """(3,) centre of mass in the frame of the semi-axes: the origin."""
        return np.zeros(3)

    def scaled_mass(self, factor: float) -> Ellipsoid:
        """The same shape with `factor` times the mass."""
        return replace(self, density_kg_m3=self.density_kg_m3 * positive("factor", factor))

    def hit(self, origin_m, direction) -> Hit | None:
        """First meeting of a ray (body frame) with the surface, from inside where it leaves; None if it misses."""
        return hit_ellipsoid(self.enclosing_axes_m, origin_m, direction)

    def normal_about(self, hit: Hit, radius_m: float) -> np.ndarray:
        """(3,) mean normal, by area, of the ground within radius_m of a hit; with a radius of 0 the one at the hit."""
        if radius_m == 0.0:
            return hit.normal
        return ellipsoid_mean_normal(self.enclosing_axes_m, hit.point_m[:, None], radius_m)[:, 0]

    def ground_about(self, hit: Hit, radius_m: float) -> Facets:
        """The ground at the hit, whatever the radius."""
        return Facets.one(hit)

    @property
    def spacing_m(self) -> float:
        """0: the surface is smooth."""
        return 0.0

    def at_longitude_latitude(self, longitude_deg: float, latitude_deg: float) -> Hit:
        """The ground in a body-centred direction: longitude from x towards y, latitude from -90 to 90 towards z."""
        found = hit_ellipsoid(self.enclosing_axes_m, np.zeros(3), direction_of(longitude_deg, latitude_deg))
        assert found is not None, "a ray from inside leaves"
        return found


def _odd_product(n: int) -> int:
    """n!! = n (n-2) ... 1 for odd n, with (-1)!! = 1."""
    return prod(range(n, 1, -2))
