"""Angular momenta of the system about its barycentre, of orbit and spins, from states alone or side by side."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..columns import cross, turned
from ..motion.layout import ATTITUDE1, ATTITUDE2, POSITION, RATE1, RATE2, VELOCITY
from ..vectors import rotation


def angular_momenta(primary, secondary, y: np.ndarray) -> np.ndarray:
    """(3, 3, ...) kg m2/s, inertial axes: rows of the orbit, the primary's spin and the secondary's; their sum is kept.

    y (20, ...) as State.vector; mass_kg and inertia_kg_m2 of the bodies are numbers, or arrays with one for each state.
    """
    reduced = primary.mass_kg * secondary.mass_kg / (primary.mass_kg + secondary.mass_kg)
    parts = [reduced * cross(y[POSITION], y[VELOCITY])]
    for body, attitude, rate in ((primary, ATTITUDE1, RATE1), (secondary, ATTITUDE2, RATE2)):
        spin: Any = [i * w for i, w in zip(body.inertia_kg_m2, y[rate], strict=True)]
        parts.append(turned(rotation(y[attitude]), spin))
    return np.array(parts)
