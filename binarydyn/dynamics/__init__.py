"""How the two bodies move."""

from ..integrators.propagate import semi_major_axis_m
from ..motion.methods import INTEGRATORS, Integrator
from ..motion.perturbations import Dissipation, Drift, Perturbations, SolarTide
from ..motion.state import Body, State, System
from ..motion.trajectory import Trajectory
from .equilibria import Equilibrium, circular_orbits, relative_equilibria, relative_equilibrium
from .runs import simulate, simulate_many

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
