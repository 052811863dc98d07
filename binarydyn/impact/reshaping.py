"""New shapes of the bodies, which they take at the impact: the gravity changes, and the period with it.

At constant mass, spin angular momentum (not rate), positions, velocities and directions of the axes:

    I' w' = I w    along each axis of the body,    U -> U'(r, C1, C2)

Circular orbit, first order in the change of shape, secondary synchronous in the mean before and after: the pull is
GM/r^2 (1 + k) with k = 3/2 [J2 R^2 + (J2' + 6 C22') R'^2]/r^2 (Murray & Dermott 1999, ch. 6), h = r^2 n,
and the orbit takes up the spin that the secondary's new moment of inertia I' leaves over, dh/h = (I - I')/(m a^2):

    dP/P = -2 dk/(1 - k) + [4 (1 + k)/(1 - k) - 1] dh/h

so a longer secondary, or a flatter primary, shortens the period.  Degree 4 adds some 5/2 J2 (R/a)^2, up to a tenth.

Valid where the new shape is there within minutes, and as homogeneous ellipsoids; landslides that go on for days or
throw mass off are not described, nor is the energy that moves inside the bodies (their own gravity, heat).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..bodies.ellipsoid import Ellipsoid
from ..gravity.mutual import mutual_gravity
from ..kinds import NUMBER, takes
from ..motion.state import Body, State, System, oblate_term
from ..scenario import Reshaping
from ..vectors import rotation

BODIES = ("primary", "secondary")


@dataclass(frozen=True)
class Reshaped:
    """The system with its new shapes (its own state is that of before), and the state just after.

    Energies, J, are gains of the system: of the mutual potential at the system's degree, and of both rotations.
    angular_residual: change of both spins together over their sizes, zero but for rounding.
    """

    system: System
    state: State
    potential_change_J: float
    rotational_change_J: float
    angular_residual: float
    warnings: tuple[str, ...] = ()

    @property
    def energy_change_J(self) -> float:
        """Gain of the system; what the bodies' insides give or take."""
        return self.potential_change_J + self.rotational_change_J


@takes(system="System", state="State", given="Reshaping")
def reshaped(system: System, state: State, given: Reshaping) -> Reshaped:
    """Give the bodies of a system that is in `state` their new shapes."""
    new = {name: reshaped_body(getattr(system, name), given.axes_m(name), given.volume) for name in BODIES}
    after = replace(system, primary=new["primary"], secondary=new["secondary"])
    rates = [_rate(getattr(system, name), new[name], rate) for name, rate in zip(BODIES, _rates(state), strict=True)]
    changed = replace(state, rate1_rad_s=rates[0], rate2_rad_s=rates[1])
    spins, spins_after = _spins(system, state), _spins(after, changed)
    rotational = [
        0.5 * (l_after @ w_after - l @ w)
        for l, l_after, w, w_after in zip(spins, spins_after, _rates(state), rates, strict=True)
    ]
    difference = np.linalg.norm(np.subtract(spins_after, spins), axis=1) / np.linalg.norm(spins, axis=1)
    return Reshaped(
        system=after,
        state=changed,
        potential_change_J=potential_J(after, changed) - potential_J(system, state),
        rotational_change_J=float(sum(rotational)),
        angular_residual=float(np.nan_to_num(difference).max()),
        warnings=_warnings(system, given),
    )


def reshaped_body(body: Body, semi_axes_m: tuple[float, float, float] | None, volume: str = "kept") -> Body:
    """The ellipsoid of these semi-axes, scaled to the body's volume or `as_given`, with its mass; the body itself
    where no axes are given or they are those that it has."""
    if semi_axes_m is None:
        return body
    axes = np.array(semi_axes_m, dtype=float)
    if volume == "kept":
        axes *= (body.volume_m3 / Ellipsoid(tuple(axes), 1.0).volume_m3) ** (1.0 / 3.0)
    if isinstance(body, Ellipsoid) and tuple(axes) == body.semi_axes_m:
        return body
    return Ellipsoid.of_mass(tuple(axes), body.mass_kg)


def potential_J(system: System, state: State) -> float:
    """Mutual potential energy of the system in a state, at the system's degree."""
    axes = rotation(state.attitude1), rotation(state.attitude2)
    return mutual_gravity(system.primary, system.secondary, state.position_m, *axes, system.degree).potential_J


@takes(before="System", after="System", separation_m=NUMBER)
def first_order_change(before: System, after: System, separation_m: float) -> float:
    """dP/P of the formula above for a synchronous secondary; separation_m is that of the circular orbit."""
    old, new = (oblate_term(system.flattening_m2, separation_m) for system in (before, after))
    left_over = before.secondary.inertia_kg_m2[2] - after.secondary.inertia_kg_m2[2]
    velocity_change = left_over / (before.reduced_mass_kg * separation_m**2)
    return float(-2.0 * (new - old) / (1.0 - old) + (4.0 * (1.0 + old) / (1.0 - old) - 1.0) * velocity_change)


def _rate(old: Body, new: Body, rate: np.ndarray) -> np.ndarray:
    return rate if new is old else rate * (old.inertia_kg_m2 / new.inertia_kg_m2)


def _rates(state: State) -> tuple[np.ndarray, np.ndarray]:
    return state.rate1_rad_s, state.rate2_rad_s


def _spins(system: System, state: State) -> list[np.ndarray]:
    """Angular momenta (3,) of both bodies in their own frames."""
    return [getattr(system, name).inertia_kg_m2 * w for name, w in zip(BODIES, _rates(state), strict=True)]


def _warnings(system: System, given: Reshaping) -> tuple[str, ...]:
    return tuple(
        f"reshaping replaces the {name}, which is no homogeneous ellipsoid, by one: what that alone changes is in the "
        "share of the reshaping too"
        for name in BODIES
        if given.axes_m(name) and not isinstance(getattr(system, name), Ellipsoid)
    )
