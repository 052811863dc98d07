"""Relaxed states, of one system or of hundreds: orbits that repeat themselves after one turn of the primary.

A spinning primary that is not round forces a response at w1 - n and its harmonics (at 2 (w1 - n) if it is even), so
no state is at rest.  The state without any free mode is the one that after T = 2 pi / |w1 - n|, one turn of the primary
as seen from the secondary, has come back to itself but for a turn about the axis of the angular momentum by n T: a
relative periodic orbit.  It is found by Newton's method on one T, a few hours, with conditions for what is given; its
mean period is then 2 pi / n exactly, not by a fit to a window.  The linearised return map gives the free modes around
it (Meyer, Hall & Offin 2009, Introduction to Hamiltonian Dynamical Systems, 2nd ed., ch. 8).  Valid while T is short
beside the free modes; not for |w1 - n| near zero, where the system is doubly synchronous.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import ConvergenceError
from ..kinds import sure
from ..motion.state import State
from .circular import Wanted
from .newton import SLIP_LIMIT, PairColumns, Search, turn_s


@dataclass(frozen=True)
class PeriodicOrbit:
    """A relaxed state with what was found: factor on both masses, time-mean separation, mean orbital rate.

    return_map (18, 18) is the linearised map over `turn_s`, in units of `scale` (18,): position, velocity, turn and
    rate of the primary, turn and rate of the secondary (turns and rates in body frames).  residual is relative, steps
    counts Newton's.
    """

    state: State
    mass_factor: float
    separation_m: float
    rate_rad_s: float
    turn_s: float
    return_map: np.ndarray
    scale: np.ndarray
    residual: float
    steps: int


@dataclass(frozen=True)
class PeriodicOrbits:
    """Those of m pairs: states y (20, m) as State.vector, scale (18, m), the others (m,), as of PeriodicOrbit.

    Where `found` is False the rest is nothing.  return_map (m, 18, 18), or None where it was not asked for.
    """

    y: np.ndarray
    mass_factor: np.ndarray
    separation_m: np.ndarray
    rate_rad_s: np.ndarray
    turn_s: np.ndarray
    return_map: np.ndarray | None
    scale: np.ndarray
    residual: np.ndarray
    steps: np.ndarray
    found: np.ndarray


def find(primary, secondary, degree: int, wanted: Wanted) -> PeriodicOrbit:
    """The relaxed state of a system.

    Raises ConvergenceError, with the residual that was reached, where Newton's method does not end.
    """
    orbits = find_all(PairColumns.of(primary, secondary, degree), wanted, whole=True, maps=True)
    rate = float(orbits.rate_rad_s[0])
    slip, steps = abs(float(wanted.spin_rate_rad_s) - rate) / rate, int(orbits.steps[0])
    if slip <= SLIP_LIMIT:
        sentence = "the primary turns nearly with the orbit: a doubly synchronous system is not supported yet"
        raise ConvergenceError(sentence, slip, steps)
    if not orbits.found[0]:
        sentence = "no relaxed state was found: the system does not settle near a circular synchronous orbit"
        raise ConvergenceError(sentence, orbits.residual[0], steps)
    return PeriodicOrbit(
        state=State.from_vector(orbits.y[:, 0]),
        mass_factor=float(orbits.mass_factor[0]),
        separation_m=float(orbits.separation_m[0]),
        rate_rad_s=rate,
        turn_s=float(orbits.turn_s[0]),
        return_map=sure(orbits.return_map)[0],
        scale=orbits.scale[:, 0],
        residual=float(orbits.residual[0]),
        steps=steps,
    )


def find_all(pairs: PairColumns, wanted: Wanted, maps: bool = False, whole: bool = False) -> PeriodicOrbits:
    """The relaxed states of pairs, with their return maps if asked for.

    An even pair stays in its plane, and only motion in it is searched, which takes half the runs, unless the whole is
    wanted: rounding then leaves a trace of motion out of the plane, as a run needs where that is chaotic.
    """
    with np.errstate(all="ignore"):
        search = Search.begun(pairs, wanted, whole)
        search.run()
        factor, rate = np.exp(search.logs)
        return PeriodicOrbits(
            y=search.unit_y(),
            mass_factor=factor,
            separation_m=search.means,
            rate_rad_s=rate,
            turn_s=turn_s(pairs, search.wanted[0], rate),
            return_map=search.return_maps() if maps else None,
            scale=search.scale,
            residual=search.residual,
            steps=search.steps,
            found=search.found,
        )
