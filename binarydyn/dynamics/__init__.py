"""How the two bodies move."""

from .propagate import semi_major_axis_m
from .runs import INTEGRATORS, Integrator, simulate, simulate_many
from .state import Body, State, System
from .trajectory import Trajectory

__all__ = [
    "INTEGRATORS",
    "Body",
    "Integrator",
    "State",
    "System",
    "Trajectory",
    "semi_major_axis_m",
    "simulate",
    "simulate_many",
]
