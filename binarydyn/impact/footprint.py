"""Over which width the ground's normal is averaged: that of the expected crater, out of which ejecta come.

A single facet is as steep as the mesh happens to be there (slopes.py says what that would do).
"""

from __future__ import annotations

import numpy as np

from ..constants import G
from ..scenario import Impactor, MomentumTransfer
from .ejecta import Blow, Crater, GroundMaterial

USUAL_GROUND = "perlite_sand"
"""Whose crater is expected where beta is given in place of a material: weakly cohesive grains, the middle of what is
thought of small bodies (22 radii of an impactor at 5 km/s; 7 in cemented basalt, 90 in cohesionless sand)."""
LARGEST_SHARE = 0.5
"""Of the mean radius: a crater beyond it is outside the scaling's validity, and the ground about it no longer flat."""


def expected_radius_m(body, impactor: Impactor, transfer: MomentumTransfer) -> float:
    """Of the crater that a vertical impact digs; no less than the spacing of the mesh, which knows of no finer slopes.

    0 for a smooth secondary, whose normal is known at the point.
    """
    if getattr(body, "spacing_m", 0.0) == 0.0:
        return 0.0
    return crater_scale_m(body, impactor, transfer)


def crater_scale_m(body, impactor: Impactor, transfer: MomentumTransfer) -> float:
    """The same of any secondary."""
    size = (3.0 * body.volume_m3 / (4.0 * np.pi)) ** (1.0 / 3.0)
    ground = GroundMaterial.of(transfer.material) if transfer.material else GroundMaterial.named(USUAL_GROUND)
    gravity = G * body.mass_kg / size**2
    crater = Crater.of(ground, Blow(impactor.mass_kg, *impactor.ball, 1e3 * impactor.speed_km_s, gravity))
    return float(min(max(crater.radius_m, body.spacing_m), LARGEST_SHARE * size))


def normal_radius_m(body, impactor: Impactor, transfer: MomentumTransfer) -> float:
    """Over which the normal is averaged: as given, or of the expected crater."""
    given = impactor.normal_radius_m
    return expected_radius_m(body, impactor, transfer) if given is None else given
