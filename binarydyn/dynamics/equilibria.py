"""Relative equilibria: two rigid bodies that turn together like one, and what becomes of a small displacement.

Each arrangement of the two bodies (which axis of each lies along r) is a family in the separation.  Along it the total
angular momentum has a least value where both bodies turn with the orbit, so two circular orbits share each greater one:
an inner and an outer.  Only the outer can have the least energy, that is, be stable where energy is dissipated (Darwin
1879, Phil. Trans. R. Soc. 170, 447; Hut 1980, A&A 92, 167; Scheeres 2009, CMDA 104, 103).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import cast

import numpy as np

from ..bodies.averaged import Averaged
from ..errors import InputError
from ..gravity.mutual import mutual_gravity
from ..kinds import BODY, NUMBER, takes
from ..motion.layout import POSITION, VELOCITY
from ..motion.state import Body, State
from .equilibrium_search import FACINGS, Found, Turning, search
from .stability import UNSTABLE, LinearMode, rotations, spectrum


@dataclass(frozen=True)
class Equilibrium:
    """A system that turns rigidly; name: facing of the primary and of the secondary.

    angular_momentum_kg_m2_s is the total about the centre of mass, along z; momentum_slope_kg_m_s how it changes with
    the separation along the family.  eigenvalues_rad_s leave out those of turning or tilting the whole system.  stable:
    nothing grows.  minimum_energy: at this angular momentum no state nearby has less energy, so that the motion stays
    there under dissipation too (a spin that was given counts as kept).  converged: the circumscribed spheres are apart,
    as the expansion of gravity needs.  residual: largest change of any coordinate in 1/n, in its own size.
    """

    name: str
    rate_rad_s: float
    separation_m: float
    state: State
    energy_J: float
    angular_momentum_kg_m2_s: float
    momentum_slope_kg_m_s: float
    eigenvalues_rad_s: np.ndarray
    modes: tuple[LinearMode, ...]
    stable: bool
    minimum_energy: bool
    converged: bool
    residual: float

    @property
    def branch(self) -> str:
        """Outer where the angular momentum grows with the separation, else inner."""
        return "outer" if self.momentum_slope_kg_m_s > 0.0 else "inner"

    @property
    def growth_rad_s(self) -> float:
        """Of the fastest growing mode, 1/s; 0 where none is above rounding."""
        return 0.0 if self.stable else max(mode.growth_rad_s for mode in self.modes)

    def mode(self, name: str) -> LinearMode:
        """The fastest mode of this name; KeyError names those there are."""
        for mode in self.modes:
            if mode.name == name:
                return mode
        raise KeyError(f"no {name} mode, there are {', '.join(mode.name for mode in self.modes)}")


@takes(primary=BODY, secondary=BODY, separation_m=(None, NUMBER), rate_rad_s=(None, NUMBER))
def relative_equilibrium(
    primary: Body,
    secondary: Body,
    separation_m: float | None = None,
    rate_rad_s: float | None = None,
    facing: tuple[str, str] = ("long", "long"),
    spins_rad_s: tuple[float | None, float | None] = (None, None),
    degree: int = 4,
) -> Equilibrium:
    """The relative equilibrium near an arrangement, at a given separation |r| or rate, one of the two.

    facing: which axis of each body points at the other (FACINGS).  spins_rad_s: None for a body that turns with the
    orbit, or the rate about z of one that is round about it, such as bodies.averaged.Averaged.  ValueError for other
    arguments; ConvergenceError where Newton's method ends elsewhere, or nowhere.
    """
    if (separation_m is None) == (rate_rad_s is None):
        raise InputError(
            "relative_equilibrium",
            f"separation_m {separation_m} and rate_rad_s {rate_rad_s} given, one of the two is allowed; leave one out",
        )
    return _described(
        search(Turning(primary, secondary, spins_rad_s, degree), separation_m, rate_rad_s, facing), facing
    )


def relative_equilibria(
    primary: Body,
    secondary: Body,
    separation_m: float,
    primary_spin_rad_s: float | None = None,
    degree: int = 4,
) -> tuple[Equilibrium, ...]:
    """All arrangements at a separation, the one with both long axes on r first.

    With a spin the primary is averaged over it and stands upright; otherwise it turns with the orbit.
    """
    if primary_spin_rad_s is not None:
        primary = cast(Body, Averaged(primary))  # what gravity asks of one
    ends = [[""] if body.is_even else ["", "-"] for body in (primary, secondary)]
    first = FACINGS if primary_spin_rad_s is None else FACINGS[:1]
    sides = product([e + word for word in first for e in ends[0]], [e + word for word in FACINGS for e in ends[1]])
    turning = Turning(primary, secondary, (primary_spin_rad_s, None), degree)
    return tuple(_described(search(turning, separation_m, None, facing), facing) for facing in sides)


def circular_orbits(
    primary: Body,
    secondary: Body,
    angular_momentum_kg_m2_s: float,
    facing: tuple[str, str] = ("long", "long"),
    spins_rad_s: tuple[float | None, float | None] = (None, None),
    degree: int = 4,
) -> tuple[Equilibrium, ...]:
    """The relative equilibria of an arrangement that have a total angular momentum, the inner one first.

    None below the family's least angular momentum.  An inner orbit at which the circumscribed spheres overlap is left
    out, since the expansion of gravity need not hold there; with given spins there is usually only the outer one.
    """
    from scipy.optimize import brentq

    turning = Turning(primary, secondary, spins_rad_s, degree)

    def at(log_separation: float) -> Found:
        return search(turning, float(np.exp(log_separation)), None, facing)

    def excess(log_separation: float) -> float:
        return at(log_separation).momentum[2] - angular_momentum_kg_m2_s

    near, far = np.log(turning.range_m(angular_momentum_kg_m2_s))
    if not near < far:
        return ()
    turn = near if at(near).momentum_slope > 0.0 else brentq(lambda x: at(x).momentum_slope, near, far, xtol=1e-9)
    sides = [(near, turn), (turn, far)]
    roots = [brentq(excess, *side, xtol=1e-14) for side in sides if excess(side[0]) * excess(side[1]) < 0.0]
    return tuple(_described(at(root), facing) for root in roots)


def _described(found: Found, facing: tuple[str, str]) -> Equilibrium:
    pair, y = found.pair, found.y
    gravity = mutual_gravity(*found.turning.bodies, y[POSITION], *rotations(y), found.turning.degree)
    spin = sum(i @ y[at : at + 3] ** 2 for i, at in zip(pair.inertia_kg_m2, (10, 17), strict=True))
    eigenvalues, modes, least = spectrum(pair, found.A, y)
    return Equilibrium(
        name="-".join(facing),
        rate_rad_s=found.n,
        separation_m=float(np.linalg.norm(y[POSITION])),
        state=State.from_vector(y),
        energy_J=float(gravity.potential_J + 0.5 * (pair.reduced_mass_kg * y[VELOCITY] @ y[VELOCITY] + spin)),
        angular_momentum_kg_m2_s=float(found.momentum[2]),
        momentum_slope_kg_m_s=found.momentum_slope,
        eigenvalues_rad_s=eigenvalues,
        modes=modes,
        stable=bool(eigenvalues.real.max() < UNSTABLE * found.n),
        minimum_energy=least,
        converged=gravity.converged,
        residual=found.residual,
    )
