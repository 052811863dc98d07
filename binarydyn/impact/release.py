"""The ejecta of one hit: the momentum that leaves the secondary and the system, by a given beta or a material."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..columns import dot, length
from ..errors import InputError
from ..kinds import sure
from ..motion.state import State, System
from .departure import Stand, departed
from .momentum import ejecta_momentum, pushed
from .site import Site
from .transfer import ACROSS_COSINE, EjectaScaling, Place, scaled


@dataclass(frozen=True)
class Released:
    """Axis E (3,) and momenta (3,), inertial; the two betas along E; what a material says, None for a given beta.

    The momentum that leaves the secondary is seen from the ground (books/masses.py); that which leaves the system from
    its barycentre, and for a material it need not lie along E.
    mass_lost_system_kg: of a material's ejecta, what leaves the system.
    """

    axis: np.ndarray
    momentum_kg_m_s: np.ndarray
    pair_momentum_kg_m_s: np.ndarray
    beta: float
    beta_system: float
    scaled: EjectaScaling | None
    mass_lost_system_kg: float | None = None

    @property
    def mass_kept_system_kg(self) -> float | None:
        """What leaves the secondary and not the system: it goes about both bodies until it falls on one of them."""
        return None if self.scaled is None else self.scaled.mass_lost_kg - sure(self.mass_lost_system_kg)


def ejecta_released(
    system: System, before: State, given: Any, site: Site, momentum: np.ndarray, axis: np.ndarray
) -> Released:
    """By the beta that is given (a Scenario or an ImpactSpec), or from the ground's material.

    momentum m U (3,) of the impactor and axis E (3,), inertial.  InputError where a material's ejecta are to leave
    across the flight.
    """
    transfer = given.momentum_transfer
    if transfer.material:
        return _from_the_ground(system, before, given, site, momentum, axis)
    beta, beta_system = transfer.beta, transfer.beta if transfer.beta_system is None else transfer.beta_system
    leaving, leaving_pair = (ejecta_momentum(momentum, value, axis) for value in (beta, beta_system))
    return Released(axis, leaving, leaving_pair, beta, beta_system, None)


def _from_the_ground(
    system: System, before: State, given: Any, site: Site, momentum: np.ndarray, axis: np.ndarray
) -> Released:
    """What a material throws out; most of it leaves when the secondary has its velocity change already."""
    along = -float(dot(axis, momentum))
    cosine = along / float(length(momentum))
    if abs(cosine) < ACROSS_COSINE:
        raise InputError(
            "momentum_transfer.ejecta_direction",
            "the ejecta leave at right angles to the flight, allowed is any other direction; change it",
        )
    transfer, mass_kg = given.momentum_transfer, system.secondary.mass_kg
    place = Place.at(mass_kg, site.point_m, site.incidence_deg, cosine)
    counted = given.mass_exchange is not None
    found = scaled(system.secondary, place, given.impactor, transfer, given.sampling, counted)
    leaving = ejecta_momentum(momentum, found.beta, axis)
    stand = Stand.of(system, pushed(system, before, momentum - leaving, site.point_m), site.point_m)
    gone = departed(stand, found.crater, axis, transfer.launch_angle_deg)
    leaving_pair = found.counted * gone.momentum_kg_m_s
    beta_system = 1.0 + float(dot(leaving_pair, axis)) / along
    return Released(axis, leaving, leaving_pair, found.beta, beta_system, found, gone.mass_kg)
