"""Boulders thrown off at the site of a hit: discrete momenta whose recoil the moonlet takes up beside the ejecta's.

M2 dv = -sum m u, and I2 dw = l x (M2 dv) with l the site; u is the velocity of a boulder relative to the moonlet far
enough out that the moonlet holds it no more.  In 2022 boulders carried several times the impactor's momentum, mostly
out of the orbital plane (Farnham et al. 2025, PSJ 6, doi 10.3847/PSJ/addd1a).

Valid while all boulders weigh little beside the moonlet, whose mass is kept, and leave at once; what falls back gives
its momentum back, so a boulder below the moonlet's escape speed is outside validity and is named in a warning.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..motion.state import State, System
from ..scenario import Boulder, MutualOrbit
from .departure import Stand
from .frame import direction_in_space
from .site import Site

MASS_SHARE = 1e-3
"""Of the moonlet's mass in boulders, above which its loss shows in the third digit of dv."""


@dataclass(frozen=True)
class Thrown:
    """Momenta (3,) kg m/s, inertial, that boulders carry away from the moonlet, and far from the pair those of them
    that leave it, seen from its barycentre."""

    momentum_kg_m_s: np.ndarray
    pair_momentum_kg_m_s: np.ndarray
    warnings: tuple[str, ...]


def boulders_thrown(
    system: System,
    state: State,
    boulders: Sequence[Boulder],
    site: Site,
    normal: np.ndarray,
    axes: np.ndarray,
    orbit: MutualOrbit | None,
) -> Thrown:
    """What all boulders carry; outward normal (3,) and orbit axes (3, 3) are inertial.

    InputError for an ecliptic direction where the orbit has no pole.
    """
    momentum, leaves, said = np.zeros(3), np.zeros(3), []
    stand = Stand.of(system, state, site.point_m)
    for row, boulder in enumerate(boulders):
        direction = direction_in_space(boulder.direction, axes, orbit)
        carried = boulder.mass_kg * boulder.speed_m_s * direction
        momentum = momentum + carried
        leaves = leaves + boulder.mass_kg * stand.far_away(boulder.speed_m_s * direction)[0]
        if boulder.speed_m_s < stand.escape_speed_m_s:
            said.append(
                f"boulder {row} leaves at {boulder.speed_m_s:g} m/s, below the moonlet's escape speed at the site of "
                f"{stand.escape_speed_m_s:.3g} m/s: it falls back and its momentum should not count"
            )
        if direction @ normal < 0.0:
            below = np.degrees(np.arcsin(min(1.0, -float(direction @ normal))))
            said.append(f"boulder {row} would leave {below:.0f} deg below the ground at the site; check its direction")
    share = sum(boulder.mass_kg for boulder in boulders) / system.secondary.mass_kg
    if share >= 1.0:
        raise InputError(
            "boulders",
            f"together they have {share:.3g} times the moonlet's mass, allowed is less than it has; check mass_kg",
        )
    if share > MASS_SHARE:
        said.append(f"the boulders have {share:.3g} of the moonlet's mass, above {MASS_SHARE:g}; its loss is neglected")
    return Thrown(momentum, leaves, tuple(said))
