"""Boulders thrown off at the site of an impact: discrete momenta whose recoil the secondary takes up beside the
ejecta's.

M2 dv = -sum m u, and I2 dw = l x (M2 dv) with l the site; u is the velocity of a boulder relative to the secondary far
enough out that the secondary holds it no more.  In 2022 boulders carried several times the impactor's momentum, mostly
out of the orbital plane (Farnham et al. 2025, PSJ 6, doi 10.3847/PSJ/addd1a).

Valid while all boulders weigh little beside the secondary, whose mass is kept without [mass_exchange]
(books/masses.py), and leave at once; what falls back gives its momentum back, so a boulder below the secondary's escape
speed is outside validity and is named in a warning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..columns import dot, unit
from ..errors import InputError
from ..motion.state import State, System
from ..scenario.side_by_side import Varied
from .departure import Stand
from .frame import directions_in_space
from .hits import Arrivals

MASS_SHARE = 1e-3
"""Of the secondary's mass in boulders, above which its loss shows in the third digit of dv."""


@dataclass(frozen=True)
class Thrown:
    """Momenta (3,) kg m/s, inertial, that boulders carry away from the secondary, and far from the system those of them
    that leave it, seen from its barycentre."""

    momentum_kg_m_s: np.ndarray
    pair_momentum_kg_m_s: np.ndarray
    warnings: tuple[str, ...]


def boulder_momenta(given: Varied, axes: np.ndarray, mass_kg: float) -> np.ndarray:
    """(k, 3, n) kg m/s, inertial, that k boulders carry away from each secondary of this mass.

    axes (3, 3, n) of the orbits.  InputError for boulders that weigh more than the secondary.
    """
    masses = np.array([given[f"boulders.{row}.mass_kg"] for row in range(len(given.stated("boulders")))])
    share = np.max(masses.sum(axis=0) / mass_kg)
    if share >= 1.0:
        raise InputError(
            "boulders",
            f"together they have {share:.3g} times the secondary's mass, allowed is less than it has; check mass_kg",
        )
    names = [f"boulders.{row}" for row in range(len(masses))]
    directions = [directions_in_space(given, f"{name}.direction", axes) for name in names]
    speeds = [given[f"{name}.speed_m_s"] for name in names]
    return np.array([m * v * way for m, v, way in zip(masses, speeds, directions, strict=True)])


def boulders_thrown(system: System, state: State, found: Arrivals) -> Thrown:
    """What all boulders of the one hit that is found carry.

    InputError for an ecliptic direction where the orbit has no pole.
    """
    boulders, normal, point = found.given.stated("boulders"), found.normal[:, 0], found.sites.point_m[:, 0]
    momenta = boulder_momenta(found.given, found.axes, system.secondary.mass_kg)[..., 0]
    leaves, said = np.zeros(3), []
    stand = Stand.of(system, state, point)
    for row, (boulder, momentum) in enumerate(zip(boulders, momenta, strict=True)):
        leaves = leaves + boulder.mass_kg * stand.far_away(momentum / boulder.mass_kg)[0]
        if boulder.speed_m_s < stand.escape_speed_m_s:
            said.append(
                f"boulder {row} leaves at {boulder.speed_m_s:g} m/s, below the secondary's escape speed at the site of "
                f"{stand.escape_speed_m_s:.3g} m/s: it falls back and its momentum should not count"
            )
        upwards = float(dot(unit(momentum), normal))
        if upwards < 0.0:
            below = np.degrees(np.arcsin(min(1.0, -upwards)))
            said.append(f"boulder {row} would leave {below:.0f} deg below the ground at the site; check its direction")
    share = sum(boulder.mass_kg for boulder in boulders) / system.secondary.mass_kg
    if share > MASS_SHARE and not found.given.stated("mass_exchange"):
        said.append(
            f"the boulders have {share:.3g} of the secondary's mass, above {MASS_SHARE:g}; its loss is "
            "neglected; [mass_exchange] counts it"
        )
    return Thrown(momenta.sum(axis=0), leaves, tuple(said))
