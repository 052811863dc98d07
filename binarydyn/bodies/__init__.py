"""What is there: homogeneous ellipsoids and polyhedra, their inertia integrals and their surfaces."""

from .ellipsoid import Ellipsoid
from .surface import Hit

__all__ = ["Ellipsoid", "Hit"]
