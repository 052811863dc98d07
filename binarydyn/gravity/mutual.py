"""Mutual gravity of two bodies at one configuration: potential, force and both torques in the inertial frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from ..constants import G
from ..kinds import BODY, WHOLE, shape, takes
from .models import model_number, module
from .multipoles import coefficients


@dataclass(frozen=True, eq=False)
class MutualGravity:
    """All in the inertial frame; the force acts on the secondary.  tau1 + tau2 + r x F = 0 up to rounding.

    Of many configurations at once the fields are arrays, (...) and (..., 3).
    """

    potential_J: float
    force_N: np.ndarray
    torque1_N_m: np.ndarray
    torque2_N_m: np.ndarray
    converged: bool
    """False where the circumscribed spheres touch (r <= R1 + R2): the expansion need not converge there."""

    @classmethod
    def together(cls, many: Sequence[MutualGravity], shape: tuple[int, ...]) -> MutualGravity:
        """Of several configurations, which fill this shape."""
        columns = ([getattr(one, each.name) for one in many] for each in fields(cls))
        whole: list[Any] = [np.reshape(column, (*shape, *np.shape(column[0]))) for column in map(list, columns)]
        return cls(*whole)


def even_pair(primary, secondary) -> bool:
    """True where both bodies allow the faster kernels without odd terms."""
    return bool(primary.is_even and secondary.is_even)


@takes(primary=BODY, secondary=BODY, r_m=shape(3), C1=shape(3, 3), C2=shape(3, 3), degree=WHOLE)
def mutual_gravity(primary, secondary, r_m, C1, C2, degree: int = 4) -> MutualGravity:
    """Mutual gravity to a total degree (physics: expansion.py), SI.

    r_m (3,) from the primary to the secondary; C1, C2 (3, 3) rotation matrices body -> inertial of principal frames.
    Relative error of U and F about (R/r)^(degree + 2) for even bodies, (R/r)^(degree + 1) for others; ValueError for
    another degree.
    """
    even = even_pair(primary, secondary)
    kernels = module(model_number(degree, even))
    r, C1, C2 = np.asarray(r_m, dtype=float), np.asarray(C1, dtype=float), np.asarray(C2, dtype=float)
    distance = float(np.linalg.norm(r))
    arguments = (
        *(C1.T @ r),
        *(C2.T @ r),
        1.0 / distance,
        *(C1.T @ C2).ravel(),
        coefficients(primary, secondary, degree, even),
    )
    out = np.array(kernels.field(*arguments))
    scale = G * primary.mass_kg * secondary.mass_kg
    return MutualGravity(
        potential_J=-scale * (1.0 / distance + kernels.potential(*arguments)),
        force_N=scale * (C1 @ out[0:3] - r / distance**3),
        torque1_N_m=scale * (C1 @ out[3:6]),
        torque2_N_m=scale * (C2 @ out[6:9]),
        converged=distance > primary.bounding_radius_m + secondary.bounding_radius_m,
    )
