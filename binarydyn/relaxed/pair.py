"""A relaxed pair from two bodies alone, without a scenario."""

from __future__ import annotations

import math

from ..bodies import Ellipsoid, Layered, Mesh
from ..bodies.ellipsoid import positive
from ..constants import HOUR_S
from ..errors import InputError
from ..kinds import NUMBER, sure, takes
from ..motion.state import System
from .bodies import refuse_overlap
from .circular import Wanted
from .periodic import find
from .start import calibration_warnings

_BODIES = ("Ellipsoid", "Mesh", "Layered")
_GIVEN = (None, NUMBER)


@takes(primary=_BODIES, secondary=_BODIES, separation_m=_GIVEN, period_h=_GIVEN, primary_spin_h=NUMBER)
def pair(
    primary: Ellipsoid | Mesh | Layered,
    secondary: Ellipsoid | Mesh | Layered,
    *,
    primary_spin_h: float,
    separation_m: float | None = None,
    period_h: float | None = None,
    degree: int = 4,
) -> System:
    """Two bodies in their relaxed, synchronous orbit, in which nothing librates, with the primary's x axis ahead.

    primary_spin_h: sidereal spin period of the primary, h; separation_m: time mean of the distance, m; period_h: mean
    sidereal period of the orbit, h.  Of the two the one that is left out is found; with both the densities of both
    bodies are multiplied by the factor that makes them fit.  degree: of gravity, 2, 4, 6 or 8.
    Raises InputError for a pair that overlaps, ConvergenceError where no relaxed state is found.

    >>> import binarydyn as bd
    >>> corners = [[60, 0, 0], [-60, 0, 0], [0, 50, 0], [0, -50, 0], [0, 0, 40], [0, 0, -40]]
    >>> facets = [[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]]
    >>> one, two = bd.Ellipsoid((270.0, 260.0, 245.0), 2300.0), bd.Mesh(corners, facets, 2300.0)
    >>> system = bd.pair(one, two, primary_spin_h=2.5, separation_m=900.0)
    >>> print(bd.simulate(system, days=20.0).periods().period_h["weighted_fit"].round(3))
    14.124
    """
    if separation_m is None and period_h is None:
        raise InputError("pair", "neither separation_m nor period_h is given, allowed is one of them or both; give one")
    lengths = {"separation_m": separation_m, "period_h": period_h, "primary_spin_h": primary_spin_h}
    checked = {name: None if value is None else positive(name, value) for name, value in lengths.items()}
    rates = [hours and 2.0 * math.pi / (hours * HOUR_S) for hours in (checked["primary_spin_h"], checked["period_h"])]
    refuse_overlap("separation_m", primary, secondary, checked["separation_m"])
    factor = None if separation_m and period_h else 1.0
    orbit = find(primary, secondary, degree, Wanted(sure(rates[0]), 0.0, factor, checked["separation_m"], rates[1]))
    refuse_overlap("period_h", primary, secondary, orbit.separation_m)
    calibration_warnings("separation_m", orbit.mass_factor, primary, secondary)
    one, two = (body.scaled_mass(orbit.mass_factor) for body in (primary, secondary))
    return System(one, two, orbit.state, degree)
