"""What comes near the system and wants to know its surroundings: the table [spacecraft]."""

from __future__ import annotations

from ..fields import Number, Table, key


class Spacecraft(Table):
    """A spacecraft near the system; it acts on nothing, `describe` alone looks at it."""

    area_to_mass_m2_kg: Number = key(
        0.02, "m2/kg", "lit area over mass; 0.02 is a box with two panels, above 10 a sail", 0.0, 1e3, open_low=True
    )
    reflectance: Number = key(0.3, "", "share of the sunlight that is thrown back; 0 absorbs, 1 is a mirror", 0.0, 1.0)
    speed_at_infinity_m_s: Number = key(
        0.2, "m/s", "of a pass, relative to the system's barycentre; slow, so that the system bends it", 1e-4, 1e5
    )
    impact_parameter_m: Number = key(
        5e3, "m", "of a pass: its line of flight from the barycentre, if nothing bent it", 0.0, 1e9
    )
    distance_m: Number = key(1e4, "m", "from the barycentre and from each body, at which speeds are told", 0.1, 1e9)
