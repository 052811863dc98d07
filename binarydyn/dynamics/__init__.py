"""How the two bodies move."""

from .equilibria import Equilibrium, circular_orbits, relative_equilibria, relative_equilibrium
from .perturbations import Dissipation, Drift, Perturbations, SolarTide
from .propagate import semi_major_axis_m
from .runs import INTEGRATORS, Integrator, simulate, simulate_many
from .state import Body, State, System
from .trajectory import Trajectory

__all__ = [
    "INTEGRATORS",
    "Body",
    "Dissipation",
    "Drift",
    "Equilibrium",
    "Integrator",
    "Perturbations",
    "SolarTide",
    "State",
    "System",
    "Trajectory",
    "circular_orbits",
    "relative_equilibria",
    "relative_equilibrium",
    "semi_major_axis_m",
    "simulate",
    "simulate_many",
]
