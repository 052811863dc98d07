"""The mutual potential as powers of the distance, of a primary averaged over its spin and a secondary aligned with r.

1/|r - s| = sum_n |s|^n P_n(cos) / r^(n+1) with s the difference of two points of the bodies (Hobson 1931), so that with
the axes kept on r and across it each degree is one number, a sum over products of both bodies' inertia integrals.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import product
from math import comb, factorial

import numpy as np

from ..bodies.averaged import Averaged


@dataclass(frozen=True)
class LinePotential:
    """U = -G M1 M2 / r sum_n c_n r^-n on the line; coefficients c_n, m^n, with c_0 = 1; gm_m3_s2: G (M1 + M2)."""

    coefficients: np.ndarray
    gm_m3_s2: float

    @property
    def _degrees(self) -> np.ndarray:
        return np.arange(len(self.coefficients))

    def energy_m2_s2(self, r_m: float, speed_m_s: float) -> float:
        """v^2/2 + U over the reduced mass."""
        return 0.5 * speed_m_s**2 - self.gm_m3_s2 / r_m * float(self.coefficients @ r_m ** -self._degrees.astype(float))

    def rate_rad_s(self, r_m: float) -> float:
        """Of the circular orbit."""
        return float(np.sqrt(self.gm_m3_s2 / r_m**3 * self._balance(r_m, 0)))

    def rate_slope(self, r_m: float) -> float:
        """d ln n / d ln r along the circular orbits: -3/2 for points."""
        return -1.5 + 0.5 * self._balance(r_m, 1) / self._balance(r_m, 0)

    def circular_m(self, energy_m2_s2: float) -> float:
        """Radius of the circular orbit of an energy, about -GM / 2r; an energy above 0 counts as if below."""
        r = 0.5 * self.gm_m3_s2 / abs(energy_m2_s2)
        for _ in range(50):
            r *= self.energy_m2_s2(r, self.rate_rad_s(r) * r) / -abs(energy_m2_s2)
        return r

    def _balance(self, r_m: float, order: int) -> float:
        """n^2 r^3 / GM of the circular orbit, or its derivative to ln r."""
        n = self._degrees
        return float((self.coefficients * (n + 1.0) * (-n.astype(float)) ** order) @ r_m ** -n.astype(float))


def line_potential(primary, secondary, degree: int, gm_m3_s2: float) -> LinePotential:
    """To a total degree; +x of the secondary points at the primary."""
    masses = primary.mass_kg * secondary.mass_kg
    found = [_integral(Averaged(primary), secondary, n) / masses for n in range(degree + 1)]
    return LinePotential(np.array(found), gm_m3_s2)


def _integral(primary, secondary, n: int) -> float:
    """Of |s|^n P_n(s_x / |s|) over both masses; s = (x1 + x2, y1 + y2, z1 - z2) in the axes of each."""
    total = 0.0
    for powers, factor in _zonal(n).items():
        for first in product(*(range(power + 1) for power in powers)):
            second = [power - i for power, i in zip(powers, first, strict=True)]
            ways = np.prod([comb(power, i) for power, i in zip(powers, first, strict=True)]) * (-1.0) ** second[2]
            total += factor * ways * primary.moment(*first) * secondary.moment(*second)
    return total


def _zonal(n: int) -> dict[tuple[int, int, int], float]:
    """|s|^n P_n(s_x / |s|) as a polynomial: exponents of x, y, z -> coefficient."""
    found: dict[tuple[int, int, int], float] = defaultdict(float)
    for k in range(n // 2 + 1):
        lead = (-1.0) ** k * comb(n, k) * comb(2 * n - 2 * k, n) / 2.0**n
        for i, j in product(range(k + 1), repeat=2):
            if i + j <= k:
                ways = factorial(k) // (factorial(i) * factorial(j) * factorial(k - i - j))
                found[n - 2 * k + 2 * i, 2 * j, 2 * (k - i - j)] += lead * ways
    return found
