"""The parts of a body that is not the same throughout: where each stands, and in which other one it lies."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..errors import InputError
from .containment import Ball, Shell, clear, holds
from .ellipsoid import Ellipsoid, positive
from .polyhedron import Mesh

Shape = Ellipsoid | Mesh


@dataclass(frozen=True, eq=False)
class Inclusion:
    """A homogeneous part: its shape with its own density, and where its frame, as given, stands in the outer body's.

    x_outer = centre_m + rotation @ x_part, both as given: of an ellipsoid its centre and axes, of a mesh the origin and
    axes of its file, so that meshes drawn together need neither.  InputError for a matrix that is no rotation.
    """

    shape: Shape
    centre_m: Any = (0.0, 0.0, 0.0)
    rotation: np.ndarray | None = None

    def __post_init__(self):
        centre = np.array(self.centre_m, dtype=float)
        rotation = np.eye(3) if self.rotation is None else np.array(self.rotation, dtype=float)
        if centre.shape != (3,) or not np.all(np.isfinite(centre)):
            raise InputError("centre_m", f"{centre.tolist()} given, three finite numbers are allowed; give x, y, z")
        if rotation.shape != (3, 3) or not np.allclose(rotation @ rotation.T, np.eye(3), rtol=0.0, atol=1e-9):
            raise InputError("rotation", f"{rotation.tolist()} given, a rotation matrix (3, 3) is allowed; correct it")
        if np.linalg.det(rotation) < 0.0:
            raise InputError("rotation", "a mirror image given, a rotation is allowed; turn the sign of one row")
        object.__setattr__(self, "centre_m", centre)
        object.__setattr__(self, "rotation", rotation)

    @classmethod
    def along_axes(cls, semi_axes_m, density_kg_m3: float, centre_m=(0.0, 0.0, 0.0)) -> Inclusion:
        """An ellipsoid with these semi-axes along the x, y, z of the outer body's frame, in any order."""
        order = np.argsort(-np.asarray(semi_axes_m, dtype=float), kind="stable")
        rotation = np.eye(3)[:, order]
        rotation[:, 2] *= np.linalg.det(rotation)
        return cls(Ellipsoid(tuple(semi_axes_m[i] for i in order), density_kg_m3), centre_m, rotation)

    @classmethod
    def of_difference(cls, shape: Shape, host: Shape, difference_kg_m3: float, centre_m=(0.0, 0.0, 0.0), rotation=None):
        """The shape (its density does not count) with a density that differs from its host's, denser if positive."""
        density = positive("density (host's plus difference_kg_m3)", host.density_kg_m3 + difference_kg_m3)
        return cls(replace(shape, density_kg_m3=density), centre_m, rotation)

    def placed_in(self, outer: Shape) -> tuple[np.ndarray, np.ndarray]:
        """turn, shift with x_outer = turn @ x_part + shift, both in the principal frames of the shapes."""
        origin = self.centre_m + self.rotation @ self.shape.centre_m
        return outer.axes @ self.rotation @ self.shape.axes.T, outer.axes @ (origin - outer.centre_m)


def _solid(shape: Shape, turn: np.ndarray, shift: np.ndarray) -> Ball | Shell:
    if isinstance(shape, Mesh):
        return Shell(shape.vertices_m @ turn.T + shift, shape.facets)
    return Ball(shift, turn * shape.semi_axes_m)


def hosts(outer: Shape, parts: tuple[Inclusion, ...]) -> list[int | None]:
    """For each inclusion the smallest other one that holds it, None for the outer shape; InputError, see Layered."""
    around = _solid(outer, np.eye(3), np.zeros(3))
    solids = [_solid(part.shape, *part.placed_in(outer)) for part in parts]
    for n, solid in enumerate(solids):
        if not holds(around, solid):
            raise InputError(
                f"inclusions.{n}", "it sticks out of the body, allowed is a part inside it; make it smaller or move it"
            )
    found: list[int | None] = [None] * len(parts)
    largest_first = sorted(range(len(parts)), key=lambda n: -parts[n].shape.volume_m3)
    for place, n in enumerate(largest_first):
        for other in largest_first[:place]:
            if holds(solids[other], solids[n]):
                found[n] = other
            elif not clear(solids[other], solids[n]):
                raise InputError(
                    f"inclusions.{n}",
                    f"it overlaps inclusions.{other} in part, allowed is wholly inside or outside; move one of them",
                )
    return found
