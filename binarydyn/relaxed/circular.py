"""The circular orbit of a system with its quadrupoles averaged: where the search for a relaxed state begins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..motion.layout import SIZE
from ..motion.state import oblate_term

_ROUNDS = 30
"""Of the third law, each of which leaves |J| / a^2 of the error."""


@dataclass(frozen=True)
class Wanted:
    """What relaxed states must have: numbers, or arrays (m,) for m pairs.

    Of mass factor, separation and rate exactly two are given; the third, None, is found.
    """

    spin_rate_rad_s: float | np.ndarray
    phase_rad: float | np.ndarray
    mass_factor: float | np.ndarray | None
    separation_m: float | np.ndarray | None
    rate_rad_s: float | np.ndarray | None


def third_law(gm_m3_s2, flattening_m2, wanted: Wanted):
    """(mass factor, separation, rate) of circular orbits with the quadrupoles averaged.

    n^2 a^3 = GM f (1 + oblate_term), of one system or of m; J as of motion.state.flattening_m2, 0 for point masses.
    """
    factor: Any = wanted.mass_factor
    a: Any = wanted.separation_m
    n: Any = wanted.rate_rad_s
    if a is None:
        a = point_masses = np.cbrt(gm_m3_s2 * factor / n**2)
        for _ in range(_ROUNDS):
            a = point_masses * np.cbrt(1.0 + oblate_term(flattening_m2, a))
    correction = 1.0 + oblate_term(flattening_m2, a)
    if n is None:
        n = np.sqrt(gm_m3_s2 * factor * correction / a**3)
    if factor is None:
        factor = n**2 * a**3 / (gm_m3_s2 * correction)
    return factor, a, n


def circular_state(wanted: Wanted, a, n) -> np.ndarray:
    """(20,), or (20, m): circular, primary at its phase, secondary aligned and turning with the orbit, all about z."""
    y = np.zeros((SIZE, *np.shape(a)))
    half = 0.5 * wanted.phase_rad
    y[0], y[4], y[6], y[9], y[12], y[16], y[19] = a, n * a, np.cos(half), np.sin(half), wanted.spin_rate_rad_s, 1.0, n
    return y
