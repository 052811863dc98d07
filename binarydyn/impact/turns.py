"""How an impact turns the plane of the orbit, and the axis about which the plane then precesses."""

from __future__ import annotations

import numpy as np

from ..dynamics.angular_momentum import angle_deg, angular_momenta


def turns_deg(before: tuple, after: tuple) -> dict[str, np.ndarray]:
    """By the names of the outcomes: the angle between the orbits' normals r x v, and between the total angular momenta.

    Each side: primary, secondary and state y (20, ...) as State.vector, at the impact.  The orbit's normal circles the
    total after the impact, not the normal of before: so the second angle is no part of the precession that follows.
    """
    parts = [angular_momenta(*side) for side in (before, after)]
    orbits, totals = [part[0] for part in parts], [part.sum(axis=0) for part in parts]
    return {"orbit_plane_change_deg": angle_deg(*orbits), "angular_momentum_tilt_deg": angle_deg(*totals)}
