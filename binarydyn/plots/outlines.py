"""Bodies and orbits projected on the orbital plane."""

from __future__ import annotations

import numpy as np

from ..motion.state import Body
from ..motion.trajectory import Trajectory
from ..observables.orientation import rotation_matrices

_POINTS_A_STEP = 4


def orbital_plane(position_m: np.ndarray, velocity_m_s: np.ndarray) -> np.ndarray:
    """(2, 3) unit vectors: x along r, y in the direction of motion."""
    x = position_m / np.linalg.norm(position_m)
    y = velocity_m_s - (velocity_m_s @ x) * x
    return np.array([x, y / np.linalg.norm(y)])


def outline(body: Body, attitude: np.ndarray, plane: np.ndarray) -> np.ndarray:
    """(2, n) closed outline, m, of a body seen along the normal of the plane: the convex hull of a mesh; an ellipsoid
    exactly, as the points D^2 u / |D u| of its surface whose normals u lie in the plane (D the semi-axes).
    """
    seen = plane @ rotation_matrices(attitude[None, :])[0]  # the plane's axes in the body frame
    vertices = getattr(body, "vertices_m", None)
    if vertices is None:
        angle = np.linspace(0.0, 2.0 * np.pi, 181)
        normals = np.array([np.cos(angle), np.sin(angle)]).T @ seen
        axes = np.asarray(body.enclosing_axes_m)
        points = normals * axes**2 / np.linalg.norm(normals * axes, axis=1)[:, None]
        return seen @ points.T
    from scipy.spatial import ConvexHull

    flat = (seen @ np.asarray(vertices).T).T
    corners = ConvexHull(flat).vertices
    return flat[np.append(corners, corners[0])].T


def path(trajectory: Trajectory, plane: np.ndarray) -> np.ndarray:
    """(2, m) the orbit in the plane, m, as a smooth curve: samples may be a dozen degrees apart."""
    from scipy.interpolate import CubicHermiteSpline

    time = trajectory.time_s
    if len(time) < 2:
        return plane @ trajectory.position_m.T
    steps = np.arange((len(time) - 1) * _POINTS_A_STEP + 1) / _POINTS_A_STEP
    fine = np.interp(steps, np.arange(len(time)), time)
    return (CubicHermiteSpline(time, trajectory.position_m, trajectory.velocity_m_s)(fine) @ plane.T).T


def laps(curve: np.ndarray) -> np.ndarray:
    """(m,) turns about the origin made so far along a curve (2, m)."""
    angle = np.unwrap(np.arctan2(curve[1], curve[0]))
    return (angle - angle[0]) / (2.0 * np.pi)


def pericentres(curve: np.ndarray) -> np.ndarray:
    """(k,) places in a curve (2, m) of the smallest distance in each whole lap."""
    distance, lap = np.hypot(*curve), np.floor(laps(curve) + 1e-9).astype(int)
    return np.array([_lowest(distance, lap == k) for k in range(lap[-1])], dtype=int)


def _lowest(distance: np.ndarray, here: np.ndarray) -> int:
    places = np.flatnonzero(here)
    return int(places[np.argmin(distance[places])])
