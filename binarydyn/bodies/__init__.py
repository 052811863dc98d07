"""What is there: ellipsoids and polyhedra, homogeneous or with parts in them, their inertia integrals and surfaces."""

from .altered import Altered
from .contact import ellipsoids_touch
from .ellipsoid import Ellipsoid
from .inclusion import Inclusion
from .layered import Layered
from .mesh_facts import mesh_facts
from .polyhedron import Mesh
from .surface import Hit

__all__ = ["Altered", "Ellipsoid", "Hit", "Inclusion", "Layered", "Mesh", "ellipsoids_touch", "mesh_facts"]
