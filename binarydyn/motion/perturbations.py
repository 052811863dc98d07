"""What moves the system besides its own gravity: the Sun's tide, a drift of the mean motion, tides in the secondary.

With r from the primary to the secondary, and a unit vector d from the Sun at a distance D:

Sun's tide    r'' += (GM_sun / D^3) (3 d (d . r) - r), torque 3 (GM_sun / D^3) d x I d on each body; the barycentre
              moves on an ellipse (Murray & Dermott 1999, ch. 2 and 5).  Right to r / D, some 1e-8.
drift         r'' -= y r', without torque: y = n'/(3 n) for point masses; in the bodies' field and with the synchronous
              secondary's own spin see drift.py.
dissipation   r'' -= (3 K / r^10) [2 r (r . r') + r^2 (r x w + r')], the opposite torque on the secondary, of spin w:
              the bulge that the primary raises on it follows with a constant time lag (Mignard 1979, Moon & Planets 20,
              301; Hut 1981, A&A 99, 126).  K = k2 lag G M1^2 R2^5 over the reduced mass.  The bulge
              without lag belongs to the shape.  Right while the lag is short beside all periods.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import GM_SUN
from ..kepler import Elements, hill_radius_m, position_velocity


@dataclass(frozen=True)
class SolarTide:
    """The system's way about the Sun: elements at t0, and the inertial axes as rows (3, 3) in the elements' frame."""

    elements: Elements
    axes: np.ndarray
    gm_m3_s2: float = GM_SUN

    def strength_s2(self, distance_m):
        """GM_sun / D^3, 1/s2; distances (...)."""
        return self.gm_m3_s2 / distance_m**3

    @property
    def strength_at_start_s2(self) -> float:
        """The same at t0."""
        return self.strength_s2(float(np.linalg.norm(position_velocity(self.elements, 0.0, self.gm_m3_s2)[0])))

    @property
    def perihelion_strength_s2(self) -> float:
        """The same at the perihelion, where it is greatest."""
        return self.strength_s2(self.elements.pericentre_m)

    def hill_radius_m(self, gm_m3_s2: float) -> float:
        """At the perihelion: beyond it the Sun's tide takes the secondary away."""
        return hill_radius_m(self.elements.pericentre_m, gm_m3_s2, self.gm_m3_s2)


@dataclass(frozen=True)
class Drift:
    """A change of the mean motion: steady, n' in rad/s2, and a transient that changes the period by a total after t0.

    The transient dies out over an e-folding time (`exponential`) or goes on evenly for a time (`linear`).  A run
    backwards from t0 has none of it.  n'/n stays that of the state at t0, which is the same until n itself has changed.
    """

    rate_rad_s2: float = 0.0
    transient_period_change_s: float = 0.0
    transient_s: float = 1.0
    profile: str = "exponential"


@dataclass(frozen=True)
class Dissipation:
    """In the secondary: potential Love number k2, time lag of the bulge, and the radius that goes with k2."""

    love_number: float
    time_lag_s: float
    radius_m: float


@dataclass(frozen=True)
class Perturbations:
    """Those that are on; energy and angular momentum of the system are then not conserved."""

    tide: SolarTide | None = None
    drift: Drift | None = None
    dissipation: Dissipation | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """In words, those that are on."""
        words = {"the Sun's tide": self.tide, "drift": self.drift, "dissipation": self.dissipation}
        return tuple(word for word, given in words.items() if given is not None)
