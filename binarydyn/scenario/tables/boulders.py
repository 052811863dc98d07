"""What a scenario says about boulders that an impact throws off: the tables [[boulders]]."""

from __future__ import annotations

from ..fields import Number, Table, key
from .directions import Direction


class Boulder(Table):
    """A boulder, or a group that flies one way, thrown off at the site of the impact beside the finer ejecta."""

    mass_kg: Number = key(..., "kg", "of all that fly this way; from a pebble to a small secondary", 1e-3, 1e12)
    speed_m_s: Number = key(
        ..., "m/s", "relative to the secondary; from a slow roll to faster than boulders survive", 1e-3, 1e4
    )
    direction: Direction
