"""What was asked: a scenario is read from TOML, checked and completed with defaults that state their reasons."""

from .keys import Key
from .scenario import Scenario, example, load, varied
from .tables.bodies import MutualOrbit, Polyhedron, Primary, Secondary
from .tables.boulders import Boulder
from .tables.directions import Direction, SiteTable
from .tables.events import Impactor, Observation, Simulation, VelocityChange
from .tables.heliocentric import HeliocentricOrbit
from .tables.mass import MassExchange
from .tables.materials import MATERIALS, Material
from .tables.perturbations import PerturbationsTable
from .tables.reference import Expected, InputSigma
from .tables.reshaping import Reshaping
from .tables.sampling import Distribution, Sampling
from .tables.spacecraft import Spacecraft
from .tables.transfer import MomentumTransfer
from .variation import numeric_names, value_of

__all__ = [
    "MATERIALS",
    "Boulder",
    "Direction",
    "Distribution",
    "Expected",
    "HeliocentricOrbit",
    "Impactor",
    "InputSigma",
    "Key",
    "MassExchange",
    "Material",
    "MomentumTransfer",
    "MutualOrbit",
    "Observation",
    "PerturbationsTable",
    "Polyhedron",
    "Primary",
    "VelocityChange",
    "Reshaping",
    "Sampling",
    "Scenario",
    "Secondary",
    "Simulation",
    "SiteTable",
    "Spacecraft",
    "example",
    "load",
    "numeric_names",
    "value_of",
    "varied",
]
