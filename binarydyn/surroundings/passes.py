"""A pass on a hyperbola: how near it comes, how much it is bent, and what it costs to stay.

Two-body formulae (Bate, Mueller & White 1971, ch. 1; from memory) for a point mass: right for the system as a whole
outside about two separations, where its quadrupole bends a pass by some per cent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import InputError


@dataclass(frozen=True)
class Pass:
    """A hyperbola about GM: speed far away v, and aim distance b between its line of flight there and the centre."""

    gm_m3_s2: float
    speed_at_infinity_m_s: float
    impact_parameter_m: float

    def __post_init__(self):
        for name, low in (
            ("gm_m3_s2", "above 0"),
            ("speed_at_infinity_m_s", "above 0"),
            ("impact_parameter_m", "from 0"),
        ):
            value = getattr(self, name)
            if not (math.isfinite(value) and (value > 0.0 or (value == 0.0 and low == "from 0"))):
                raise InputError(name, f"{value:g} is given, allowed is a finite number {low}; change it")

    @property
    def _length(self) -> float:
        """GM / v^2, m: aimed there, a pass is bent by a right angle."""
        return self.gm_m3_s2 / self.speed_at_infinity_m_s**2

    @property
    def pericentre_m(self) -> float:
        """Closest approach q to the centre: q^2 + 2 q GM/v^2 = b^2, in the form that keeps its digits."""
        length = self._length
        return self.impact_parameter_m**2 / (length + math.hypot(length, self.impact_parameter_m))

    @property
    def eccentricity(self) -> float:
        """e = 1 + q v^2 / GM."""
        return 1.0 + self.pericentre_m / self._length

    @property
    def turn_rad(self) -> float:
        """Between the directions far before and far after, 2 asin(1/e) = 2 atan(GM / (b v^2))."""
        return 2.0 * math.atan2(self._length, self.impact_parameter_m)

    def speed_m_s(self, distance_m: float) -> float:
        """sqrt(v^2 + 2 GM / r), relative to the centre."""
        return math.sqrt(self.speed_at_infinity_m_s**2 + 2.0 * self.gm_m3_s2 / distance_m)

    def capture_dv_parabola_m_s(self) -> float:
        """Least change of speed at the closest approach that leaves the pass just bound."""
        return self.speed_m_s(self.pericentre_m) - math.sqrt(2.0 * self.gm_m3_s2 / self.pericentre_m)

    def capture_dv_circle_m_s(self) -> float:
        """Change of speed at the closest approach into a circular orbit there."""
        return self.speed_m_s(self.pericentre_m) - math.sqrt(self.gm_m3_s2 / self.pericentre_m)


def range_of_speeds_m_s(speed_m_s: float, body_speed_m_s: float) -> tuple[float, float]:
    """(least, greatest) speed relative to a body that moves itself, over all directions of the two."""
    return abs(speed_m_s - body_speed_m_s), speed_m_s + body_speed_m_s
