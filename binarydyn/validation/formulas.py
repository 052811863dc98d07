"""Handbook formulae for the relaxed system and its slow motions, each of a start, in the unit its name ends in.

Symbols: a = time-mean separation, n = mean orbital rate, both of the relaxed state; primed quantities belong to the
synchronous secondary, whose long axis is aligned.  Each says what it neglects; a comparison takes that as its sigma.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from ..constants import DAY_S, HOUR_S
from ..motion.state import aligned_m2, oblate_term
from ..relaxed.start import Start


def _rate(begun: Start) -> float:
    return 2.0 * math.pi / (begun.period_h * HOUR_S)


def _j4_m4(begun: Start) -> float:
    """J4 R^4 = -(15/7) (J2 R^2)^2 of a homogeneous spheroid, m4."""
    return -15.0 / 7.0 * begun.system.oblateness_m2**2


def kepler_ratio(begun: Start) -> float:
    """n^2 a^3 / GM = 1 + 3/2 [J2 R^2 + (J2' + 6 C22') R'^2] / a^2 - 15/8 J4 (R/a)^4, circular equatorial orbit.

    Murray & Dermott 1999, Solar System Dynamics, ch. 6.  Neglects the product of both bodies'
    quadrupoles, J6, and the primary's departure from a spheroid.
    """
    return _equilibrium_ratio(begun) - 15.0 / 8.0 * _j4_m4(begun) / begun.separation_m**4


def apsidal_precession_deg_day(begun: Start) -> float:
    """3/2 n J2 (R/a)^2 - 15/4 n J4 (R/a)^4: a point mass on a nearly circular equatorial orbit about a spheroid.

    Murray & Dermott 1999, ch. 6.  Neglects squares of J2 and of the eccentricity, and the secondary's
    shape.
    """
    a = begun.separation_m
    rate = oblate_term(begun.system.oblateness_m2, a) - 15.0 / 4.0 * _j4_m4(begun) / a**4
    return math.degrees(_rate(begun) * rate * DAY_S)


def uncoupled_libration_h(begun: Start) -> float:
    """Period of w = n sqrt(3 (B - A)/C), the orbit taken as unmoved.

    Murray & Dermott 1999, ch. 5.  Neglects the answer of the orbit, 1-5 % of the rate.
    """
    x, y, z = begun.system.secondary.inertia_kg_m2
    return begun.period_h / math.sqrt(3.0 * (y - x) / z) if y > x else math.inf


def uncoupled_growth_per_h(begun: Start) -> float:
    """n sqrt(3 (B - A)/C), 1/h: at which a secondary with its intermediate axis along r turns away, the orbit unmoved.

    The same equation as of the libration with the sign reversed.  Neglects the answer of the orbit.
    """
    return 2.0 * math.pi / uncoupled_libration_h(begun)


def _equilibrium_ratio(begun: Start) -> float:
    """n^2 a^3 / GM at degree 2."""
    return 1.0 + oblate_term(begun.system.flattening_m2, begun.separation_m)


def _planar_squares(begun: Start, facing: float) -> tuple[float, float]:
    """Squares of both rates of the planar motion, (rad/s)^2; facing 1 for the long axis along r, -1 for the next.

    With the second-order potential of Scheeres 2009, CMDA 104, 103, and constant angular momentum, small changes of r
    and of the yaw obey (kappa^2 - w^2)(lambda^2 - w^2) = 4 n^2 V'' / (m a^2), where kappa^2 = 3 n^2 + V_rr / m,
    lambda^2 = V'' (1/C + 1/(m a^2)) and V'' = +-3 G M1 (B - A) / a^3.  Neglects terms of degree 4, (R'/a)^2 of the
    restoring torque, and the primary's departure from a spheroid.  First the root on the side of kappa.
    """
    system, a2 = begun.system, begun.separation_m**2
    a3 = begun.separation_m**3
    gm = _rate(begun) ** 2 * a3 / _equilibrium_ratio(begun)
    flattening_m2 = system.oblateness_m2 + aligned_m2(system.secondary, facing)
    term = oblate_term(flattening_m2, begun.separation_m)
    n2 = gm * (1.0 + term) / a3
    x, y, z = system.secondary.inertia_kg_m2
    stiffness = facing * 3.0 * gm * system.primary.mass_kg / system.mass_kg * (y - x) / a3
    swing = system.reduced_mass_kg * a2
    kappa2 = 3.0 * n2 - gm / a3 * (2.0 + 4.0 * term)
    lambda2 = stiffness * (1.0 / z + 1.0 / swing)
    middle, product = 0.5 * (kappa2 + lambda2), kappa2 * lambda2 - 4.0 * n2 * stiffness / swing
    split = math.copysign(math.sqrt(middle**2 - product), kappa2 - lambda2)
    return middle + split, middle - split


def coupled_modes_h(begun: Start) -> tuple[float, float]:
    """Periods (epicyclic, libration) of the planar motion linearised together; see _planar_squares."""
    epicyclic, libration = (2.0 * math.pi / math.sqrt(square) / HOUR_S for square in _planar_squares(begun, 1.0))
    return epicyclic, libration


def coupled_growth_per_h(begun: Start) -> float:
    """1/h, at which a secondary with its intermediate axis along r turns away, the orbit answering; see
    _planar_squares.

    At the same separation, which makes the orbit a little slower than with the long axis along r.
    """
    return math.sqrt(-_planar_squares(begun, -1.0)[1]) * HOUR_S


def gravity_gradient_attitude_h(begun: Start) -> tuple[float, float]:
    """Periods (fast, slow) of the secondary's coupled turns about r and about its motion, long axis along r.

    s^4 + (1 + 3 p k1 + k1 k3) n^2 s^2 + (1 + 3 p) k1 k3 n^4 = 0 with k1 = (C - A)/B, k3 = (C - B)/A: Hughes 1986,
    Spacecraft Attitude Dynamics, ch. 9, where p = G M1 / (n^2 a^3) is 1 for a satellite.  Neglects the
    answer of the orbit and of the primary, about C/(m a^2), and what degree 4 adds to the torque.
    """
    x, y, z = begun.system.secondary.inertia_kg_m2
    k1, k3 = (z - x) / y, (z - y) / x
    pull = begun.system.primary.mass_kg / begun.system.mass_kg / _equilibrium_ratio(begun)
    middle = 0.5 * (1.0 + 3.0 * pull * k1 + k1 * k3)
    split = math.sqrt(middle**2 - (1.0 + 3.0 * pull) * k1 * k3)
    fast, slow = (begun.period_h / math.sqrt(middle + sign * split) for sign in (1.0, -1.0))
    return fast, slow


def coupled_libration_h(begun: Start) -> float:
    """Period of the libration coupled with the orbit, linearised: coupled_modes_h."""
    return coupled_modes_h(begun)[1]


def coupled_epicyclic_h(begun: Start) -> float:
    """Period of the radial oscillation coupled with the libration, linearised: coupled_modes_h."""
    return coupled_modes_h(begun)[0]


def attitude_fast_h(begun: Start) -> float:
    """The faster of gravity_gradient_attitude_h."""
    return gravity_gradient_attitude_h(begun)[0]


def attitude_slow_h(begun: Start) -> float:
    """The slower of gravity_gradient_attitude_h."""
    return gravity_gradient_attitude_h(begun)[1]


FORMULAS: dict[str, Callable[[Start], float]] = {
    "kepler_ratio": kepler_ratio,
    "apsidal_precession_deg_day": apsidal_precession_deg_day,
    "uncoupled_libration_h": uncoupled_libration_h,
    "coupled_libration_h": coupled_libration_h,
    "coupled_epicyclic_h": coupled_epicyclic_h,
    "uncoupled_growth_per_h": uncoupled_growth_per_h,
    "coupled_growth_per_h": coupled_growth_per_h,
    "attitude_fast_h": attitude_fast_h,
    "attitude_slow_h": attitude_slow_h,
}
"""By the names that reference cases use."""
