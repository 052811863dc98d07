"""The ejecta of a hit: the axis about which they leave, and the momentum that leaves the moonlet and the pair."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..columns import dot
from ..dynamics.state import State, System
from ..errors import InputError
from .frame import direction_in_space, tilted
from .momentum import ejecta_momentum, rotation
from .site import Site
from .transfer import Place, Scaled, scaled

ACROSS_COSINE = 1e-6
"""Ejecta this nearly across the flight take up nothing of it along their axis: beta along it has no meaning."""


@dataclass(frozen=True)
class Released:
    """Axis E (3,) and momenta (3,), inertial; the two betas along E; what a material says, None for a given beta."""

    axis: np.ndarray
    momentum_kg_m_s: np.ndarray
    pair_momentum_kg_m_s: np.ndarray
    beta: float
    beta_pair: float
    scaled: Scaled | None


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
    found, beta, beta_pair = None, transfer.beta, transfer.beta_pair
    if transfer.material:
        cosine = -float(axis @ direction)
        if abs(cosine) < ACROSS_COSINE:
            raise InputError(
                "momentum_transfer.ejecta_direction",
                "the ejecta leave at right angles to the flight, allowed is any other direction; change it",
            )
        found = scaled(system, Place.of(system, before, site, cosine), impactor, transfer, given.sampling)
        beta, beta_pair = found.beta, found.beta_pair
    beta_pair = beta if beta_pair is None else beta_pair
    leaving, leaving_pair = (ejecta_momentum(momentum, value, axis) for value in (beta, beta_pair))
    return Released(axis, leaving, leaving_pair, beta, beta_pair, found)


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
