"""A body after mass was taken from it or added to it at a point: its outline as before, all integrals as they are then.

A point mass at p adds m p_x^i p_y^j p_z^k to every integral, exactly; mass that comes to lie evenly makes the body as
much heavier throughout.  The hole or the heap itself is not in the outline.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .inclusion import Inclusion
from .integrals import place_of_moment
from .layered import Layered

_POWERS = np.array(list(place_of_moment())).T


@dataclass(frozen=True, eq=False)
class Altered(Layered):
    """A Layered body with point masses kg (k,), negative for what has left, at points_m (k, 3) of the outer shape's
    principal frame."""

    points_m: np.ndarray
    points_kg: np.ndarray

    @classmethod
    def of(cls, body: Any, point_m: np.ndarray, point_kg: float, even_kg: float = 0.0) -> Altered:
        """The body with point_kg more at a point (3,) of its principal frame, and even_kg more spread evenly."""
        heavier = body.scaled_mass(1.0 + even_kg / body.mass_kg) if even_kg else body
        outer, inclusions = heavier, tuple[Inclusion, ...]()
        if isinstance(heavier, Layered):
            outer, inclusions = heavier.shape, heavier.inclusions
        given = body.axes.T @ point_m + body.centre_m
        place = outer.axes @ (given - outer.centre_m)
        old_m, old_kg = getattr(heavier, "points_m", np.empty((0, 3))), getattr(heavier, "points_kg", np.empty(0))
        return cls(outer, inclusions, np.vstack([old_m, place]), np.append(old_kg, point_kg))

    def _sums(self, parts: tuple[Inclusion, ...]) -> np.ndarray:
        sums = super()._sums(parts)
        for point, kg in zip(self.points_m, self.points_kg, strict=True):
            sums = sums + kg * np.prod(point[:, None] ** _POWERS, axis=0)
        return sums

    def scaled_mass(self, factor: float) -> Altered:
        """The same shapes and points with `factor` times the mass."""
        scaled: Any = super().scaled_mass(factor)
        scaled._set(points_kg=factor * self.points_kg)
        return scaled

    def seen_from(self, body: Any) -> tuple[np.ndarray, np.ndarray]:
        """turn (3, 3), origin_m (3,): x_here = turn @ (x - origin_m) of points x in the principal frame of the body it
        was."""
        return self.axes @ body.axes.T, body.axes @ (self.centre_m - body.centre_m)
