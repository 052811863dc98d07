"""Angular momenta of the pair about its barycentre, of orbit and spins, from states alone or side by side."""

from __future__ import annotations

import numpy as np

from ..vectors import rotation_of_quaternion

_rotation = getattr(rotation_of_quaternion, "py_func", rotation_of_quaternion)  # the same formula, on whole arrays


def cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """a x b of vectors (3, ...)."""
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def angle_deg(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Angle between vectors (3, ...), deg, exact for small ones too; 0 where one is zero."""
    area = cross(a, b)
    along = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return np.degrees(np.arctan2(np.sqrt(area[0] ** 2 + area[1] ** 2 + area[2] ** 2), along))


def angular_momenta(primary, secondary, y: np.ndarray) -> np.ndarray:
    """(3, 3, ...) kg m2/s, inertial axes: rows of the orbit, the primary's spin and the secondary's; their sum is kept.

    y (20, ...) as State.vector; mass_kg and inertia_kg_m2 of the bodies are numbers, or arrays with one for each state.
    """
    reduced = primary.mass_kg * secondary.mass_kg / (primary.mass_kg + secondary.mass_kg)
    parts = [reduced * cross(y[0:3], y[3:6])]
    for body, at in ((primary, 6), (secondary, 13)):
        x, y_, z = (i * w for i, w in zip(body.inertia_kg_m2, y[at + 4 : at + 7], strict=True))
        R = _rotation(*y[at : at + 4])
        parts.append(np.array([R[k] * x + R[k + 1] * y_ + R[k + 2] * z for k in (0, 3, 6)]))
    return np.array(parts)
