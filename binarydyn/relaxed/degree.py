"""The degree of the mutual potential: chosen from how close the bodies are, and what the next degree would change.

Left out beyond degree N: (R/r)^(N+2) of the force for even bodies, (R/r)^(N+1) for others (gravity/models.py), R the
larger circumscribed radius.  Calibration takes most of that back, since it fits the mass to the period; what is left
in the period change was measured as a twentieth of it for ellipsoids of 400 and 90 m at 1180 m (degree 2: 6e-4 of the
change, degree 4: 5e-5).
"""

from __future__ import annotations

from ..gravity.models import DEGREES
from ..gravity.mutual import even_pair

LEFT_IN_CHANGE = 0.05
"""Share of the neglected force that is left in the period change after calibration."""


def estimated_error(degree: int, primary, secondary, separation_m: float) -> float:
    """Relative error of the period change to be expected at a degree."""
    reach = max(primary.bounding_radius_m, secondary.bounding_radius_m) / separation_m
    return LEFT_IN_CHANGE * reach ** (degree + 2 if even_pair(primary, secondary) else degree + 1)


def chosen_degree(primary, secondary, separation_m: float, accuracy: float) -> tuple[int, tuple[str, ...]]:
    """The lowest degree whose estimated error is within a relative accuracy.

    With a warning if not even the highest's is.
    """
    for degree in DEGREES:
        if estimated_error(degree, primary, secondary, separation_m) <= accuracy:
            return degree, ()
    found = estimated_error(DEGREES[-1], primary, secondary, separation_m)
    sentence = f"even degree {DEGREES[-1]} is expected to leave {found:.1e} of the period change"
    return DEGREES[-1], (f"{sentence}, {accuracy:.1e} was asked for",)


def next_degree(degree: int) -> int | None:
    """The degree after this one; None after the highest."""
    later = [other for other in DEGREES if other > degree]
    return later[0] if later else None
