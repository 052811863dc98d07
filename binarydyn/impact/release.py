"""The ejecta of a hit: the axis about which they leave, and the momentum that leaves the moonlet and the pair."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..columns import dot
from ..errors import InputError
from ..motion.state import State, System
from .departure import Stand, departed
from .frame import direction_in_space, tilted
from .momentum import ejecta_momentum, pushed, rotation
from .site import Site
from .transfer import Place, Scaled, scaled

ACROSS_COSINE = 1e-6
"""Ejecta this nearly across the flight take up nothing of it along their axis: beta along it has no meaning."""


@dataclass(frozen=True)
class Released:
    """Axis E (3,) and momenta (3,), inertial; the two betas along E; what a material says, None for a given beta.

    The momentum that leaves the pair is taken from its barycentre, and for a material need not lie along E.
    mass_lost_pair_kg: of a material's ejecta, what leaves the pair.
    """

    axis: np.ndarray
    momentum_kg_m_s: np.ndarray
    pair_momentum_kg_m_s: np.ndarray
    beta: float
    beta_pair: float
    scaled: Scaled | None
    mass_lost_pair_kg: float | None = None

    @property
    def mass_kept_pair_kg(self) -> float | None:
        """What leaves the moonlet and not the pair: it goes about both bodies until it falls on one of them."""
        return None if self.scaled is None else self.scaled.mass_lost_kg - self.mass_lost_pair_kg


def ejecta_released(
    system: System, before: State, given: Any, site: Site, direction: np.ndarray, normal: np.ndarray, axes: np.ndarray
) -> Released:
    """By the beta that is given (a Scenario or an ImpactSpec), or from the ground's material.

    direction of flight, outward normal (3,) and orbit axes (3, 3) are inertial.  InputError where a material's ejecta
    are to leave across the flight.
    """
    impactor, transfer = given.impactor, given.momentum_transfer
    momentum = impactor.mass_kg * 1e3 * impactor.speed_km_s * direction
    axis = _axis(before, given, direction, normal, axes)
    if transfer.material:
        return _from_the_ground(system, before, given, site, momentum, axis)
    beta, beta_pair = transfer.beta, transfer.beta if transfer.beta_pair is None else transfer.beta_pair
    leaving, leaving_pair = (ejecta_momentum(momentum, value, axis) for value in (beta, beta_pair))
    return Released(axis, leaving, leaving_pair, beta, beta_pair, None)


def _from_the_ground(
    system: System, before: State, given: Any, site: Site, momentum: np.ndarray, axis: np.ndarray
) -> Released:
    """What a material throws out; most of it leaves when the moonlet has its push already."""
    along = -float(axis @ momentum)
    cosine = along / float(np.linalg.norm(momentum))
    if abs(cosine) < ACROSS_COSINE:
        raise InputError(
            "momentum_transfer.ejecta_direction",
            "the ejecta leave at right angles to the flight, allowed is any other direction; change it",
        )
    transfer = given.momentum_transfer
    found = scaled(system, Place.of(system, site, cosine), given.impactor, transfer, given.sampling)
    leaving = ejecta_momentum(momentum, found.beta, axis)
    stand = Stand.of(system, pushed(system, before, momentum - leaving, site.point_m), site.point_m)
    gone = departed(stand, found.crater, axis, transfer.launch_angle_deg)
    leaving_pair = found.counted * gone.momentum_kg_m_s
    beta_pair = 1.0 + float(leaving_pair @ axis) / along
    return Released(axis, leaving, leaving_pair, found.beta, beta_pair, found, gone.mass_kg)


def _axis(before: State, given: Any, direction: np.ndarray, normal: np.ndarray, axes: np.ndarray) -> np.ndarray:
    """E: outward from the ground, since the momentum of a material's ejecta has a sign."""
    transfer = given.momentum_transfer
    if transfer.ejecta_direction:
        named = direction_in_space(transfer.ejecta_direction, axes, given.mutual_orbit)
        return outward(named, normal)
    moonlet = rotation(before.attitude2)
    return tilted(normal, direction, moonlet, transfer.ejecta_tilt_deg, transfer.ejecta_tilt_azimuth_deg)


def outward(axis: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """The axis, or its opposite, that leaves the ground; vectors (3,) or (3, n)."""
    return np.where(dot(axis, normal) >= 0.0, axis, -axis)
