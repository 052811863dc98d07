"""What became of a mesh once it was read: its size, its mass, where its frame lies, and how fine its facets are."""

from __future__ import annotations

from typing import Any

import numpy as np

from .ellipsoid import Ellipsoid
from .layered import Layered
from .polyhedron import Mesh


def mesh_facts(body: Ellipsoid | Mesh | Layered) -> dict[str, Any]:
    """By names that carry their units.

    extents_m: full, along the principal axes.  centre_of_mass_m: in the frame of the file, metres.  turn_deg: from the
    axes of the file to the principal ones, x_principal = axes (x_file - centre_of_mass).
    """
    mesh: Any = body.shape if isinstance(body, Layered) else body
    facets, vertices_m = mesh.facets, (body if isinstance(body, Layered) else mesh).vertices_m
    corners = vertices_m[facets]
    return {
        "facets": len(facets),
        "vertices": len(vertices_m),
        "extents_m": np.ptp(vertices_m, axis=0).tolist(),
        "volume_m3": body.volume_m3,
        "volume_equivalent_diameter_m": float(np.cbrt(6.0 * body.volume_m3 / np.pi)),
        "mass_kg": body.mass_kg,
        "centre_of_mass_m": body.centre_m.tolist(),
        "turn_deg": _turn_deg(body.axes),
        "axes": body.axes.tolist(),
        "mean_edge_m": body.spacing_m,
        "smallest_angle_deg": float(_angles_deg(corners).min()),
    }


def _turn_deg(axes: np.ndarray) -> float:
    """By the length of the rotation's vector part, which keeps its digits near 0, and its trace."""
    part = np.array([axes[2, 1] - axes[1, 2], axes[0, 2] - axes[2, 0], axes[1, 0] - axes[0, 1]])
    return float(np.degrees(np.arctan2(np.linalg.norm(part), np.trace(axes) - 1.0)))


def _angles_deg(corners: np.ndarray) -> np.ndarray:
    """(m, 3) inner angles of triangles (m, 3, 3)."""
    one, two = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    across = np.linalg.norm(np.cross(one, two), axis=2)
    return np.degrees(np.arctan2(across, np.sum(one * two, axis=2)))
