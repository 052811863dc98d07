"""What was asked: a scenario is read from TOML, checked and completed with defaults that state their reasons."""

from .boulders import Boulder
from .directions import Direction, Site
from .events import Impactor, Observation, Push, Simulation
from .heliocentric import HeliocentricOrbit
from .keys import Key
from .materials import MATERIALS, Material
from .perturbations import Perturbations
from .reference import Expected, InputSigma
from .reshaping import Reshaping
from .sampling import Distribution, Sampling
from .scenario import Scenario, builtin, load
from .sections import MutualOrbit, Polyhedron, Primary, Secondary
from .spacecraft import Spacecraft
from .transfer import MomentumTransfer
from .variation import numeric_names, value_of, varied

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
    "Material",
    "MomentumTransfer",
    "MutualOrbit",
    "Observation",
    "Perturbations",
    "Polyhedron",
    "Primary",
    "Push",
    "Reshaping",
    "Sampling",
    "Scenario",
    "Secondary",
    "Simulation",
    "Site",
    "Spacecraft",
    "builtin",
    "load",
    "numeric_names",
    "value_of",
    "varied",
]
