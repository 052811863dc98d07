"""What a scenario asks of its start: what is given of the orbit, what calibration finds, and what decides the rest."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from ..constants import HOUR_S
from ..scenario import Scenario
from .circular import Wanted


def wanted_of(scenario: Scenario, number: Callable[[str], Any] | None = None) -> Wanted:
    """What the relaxed state must have; `number` gives that of a dotted key, or (m,) of them, else the scenario does.

    What calibration finds is left open.
    """
    number, unknown = number or scenario.__getitem__, scenario.mutual_orbit.unknown
    period_h = None if unknown == "period_h" else number("mutual_orbit.period_h")
    return Wanted(
        spin_rate_rad_s=2.0 * math.pi / (number("primary.spin_period_h") * HOUR_S),
        phase_rad=np.radians(number("primary.rotation_phase_deg")),
        mass_factor=None if unknown == "mass_factor" else 1.0,
        separation_m=None if unknown == "separation_m" else number("mutual_orbit.separation_m"),
        rate_rad_s=None if period_h is None else 2.0 * math.pi / (period_h * HOUR_S),
    )


def is_relaxed(scenario: Scenario) -> bool:
    """Whether no free mode is asked for."""
    return scenario.mutual_orbit.eccentricity == 0.0 and scenario.secondary.libration_amplitude_deg == 0.0


DECIDING = ("primary", "secondary", "mutual_orbit", "simulation", "perturbations")
"""Tables of a scenario that decide its start; beside them the orbit about the Sun where its tide is on."""


class StartKey:
    """A scenario as far as it decides its start, and what other tables add: two that agree share what is kept."""

    def __init__(self, scenario: Scenario, *others: str):
        self.scenario = scenario
        if scenario.perturbations.solar_tide == "on":
            others += ("heliocentric_orbit",)
        meshes = (body.polyhedron for body in (scenario.primary, scenario.secondary))
        self.decisive = (
            *(getattr(scenario, name).model_dump_json() for name in (*DECIDING, *others)),
            scenario.impact_epoch_utc,
            str(scenario.folder),
            scenario.place,
            *(mesh.path.read_bytes() if mesh and mesh.path.is_file() else b"" for mesh in meshes),
        )

    def __hash__(self) -> int:
        return hash(self.decisive)

    def __eq__(self, other) -> bool:
        return self.decisive == other.decisive
