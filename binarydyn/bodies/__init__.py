"""What is there: homogeneous ellipsoids and polyhedra, their inertia integrals and their surfaces."""

from .contact import ellipsoids_touch
from .ellipsoid import Ellipsoid
from .polyhedron import Polyhedron
from .surface import Hit

__all__ = ["Ellipsoid", "Hit", "Polyhedron", "ellipsoids_touch"]
