"""Where the two bodies are at one instant, and what the pair is: the inputs of every integration."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from numbers import Integral, Real
from typing import Protocol

import numpy as np

from ..bodies.surface import Facets, Hit
from ..constants import G
from ..errors import InputError
from ..gravity.models import DEGREES, model_number
from ..gravity.mutual import even_pair
from ..kinds import BODY, check_kind, shape, shown
from .equations import parameters
from .methods import INTEGRATORS
from .perturbations import Perturbations


class Body(Protocol):
    """What dynamics asks of a body; bodies/ provides it."""

    @property
    def mass_kg(self) -> float: ...
    @property
    def volume_m3(self) -> float: ...
    @property
    def density_kg_m3(self) -> float: ...
    @property
    def inertia_kg_m2(self) -> np.ndarray: ...
    @property
    def is_even(self) -> bool: ...
    @property
    def bounding_radius_m(self) -> float: ...
    @property
    def enclosing_axes_m(self) -> np.ndarray: ...
    @property
    def axes(self) -> np.ndarray: ...
    @property
    def centre_m(self) -> np.ndarray: ...
    @property
    def spacing_m(self) -> float: ...

    def moment(self, i: int, j: int, k: int) -> float: ...
    def hit(self, origin_m: np.ndarray, direction: np.ndarray) -> Hit | None: ...
    def at_longitude_latitude(self, longitude_deg: float, latitude_deg: float) -> Hit: ...
    def normal_about(self, hit: Hit, radius_m: float) -> np.ndarray: ...
    def ground_about(self, hit: Hit, radius_m: float) -> Facets: ...


def flattening_m2(primary: Body, secondary: Body) -> float:
    """J of n^2 a^3 = GM (1 + 3/2 J / a^2), m2: J2 R^2 of the primary and (J2' + 6 C22') R'^2 of the aligned secondary.

    Murray & Dermott 1999, ch. 6.
    """
    ix, iy, iz = primary.inertia_kg_m2
    jx, jy, jz = secondary.inertia_kg_m2
    flat = (iz - 0.5 * (ix + iy)) / primary.mass_kg
    flat += (jz - 0.5 * (jx + jy) + 1.5 * (jy - jx)) / secondary.mass_kg
    return flat


@dataclass(frozen=True)
class State:
    """Relative position and velocity (inertial frame), attitudes (quaternions, scalar first, body -> inertial), rates
    (body frame).

    position_m (3,) points from the primary to the secondary.
    """

    position_m: np.ndarray
    velocity_m_s: np.ndarray
    attitude1: np.ndarray
    rate1_rad_s: np.ndarray
    attitude2: np.ndarray
    rate2_rad_s: np.ndarray

    def __post_init__(self):
        for name, length in (("position_m", 3), ("velocity_m_s", 3), ("rate1_rad_s", 3), ("rate2_rad_s", 3)):
            self._check(name, length)
        for name in ("attitude1", "attitude2"):
            self._check(name, 4)

    def _check(self, name: str, length: int) -> None:
        values = getattr(self, name)
        if getattr(values, "shape", None) != (length,):
            check_kind(f"State.{name}", values, shape(length))

    @property
    def vector(self) -> np.ndarray:
        """All of it as (20,): r, v, q1, w1, q2, w2, the order that the kernels use."""
        parts = (self.position_m, self.velocity_m_s, self.attitude1, self.rate1_rad_s, self.attitude2, self.rate2_rad_s)
        return np.concatenate([np.asarray(part, dtype=float) for part in parts])

    @classmethod
    def from_vector(cls, y: np.ndarray) -> State:
        """State from the (20,) vector r, v, q1, w1, q2, w2; the quaternions are brought to unit length."""
        if getattr(y, "shape", None) != (20,):
            check_kind("State.from_vector", y, shape(20))
            y = np.asarray(y, dtype=float)
        q1, q2 = y[6:10] / np.linalg.norm(y[6:10]), y[13:17] / np.linalg.norm(y[13:17])
        return cls(y[0:3].copy(), y[3:6].copy(), q1, y[10:13].copy(), q2, y[17:20].copy())


@dataclass(frozen=True)
class System:
    """Two rigid bodies, their state at t0, how to integrate it, what is to hit it (for impact/; dynamics never looks),
    and what moves them besides their own gravity.

    Runs start at t0, also from another state: perturbations count their time from there.
    """

    primary: Body
    secondary: Body
    state: State
    degree: int = 4
    tolerance: float = 1e-12
    integrator: str = "rungekutta"
    impact: object | None = None
    perturbations: Perturbations | None = None

    def __post_init__(self):
        for name in ("primary", "secondary"):
            if not hasattr(getattr(self, name), "inertia_kg_m2"):
                check_kind(f"System.{name}", getattr(self, name), BODY)
        check_kind("System.state", self.state, None, "State")
        check_kind("System.perturbations", self.perturbations, None, "Perturbations")
        if not isinstance(self.integrator, str) or self.integrator not in INTEGRATORS:
            allowed = " or ".join(INTEGRATORS)
            raise InputError(
                "System.integrator", f"{shown(self.integrator)} is given, allowed is {allowed}; choose one"
            )
        if not isinstance(self.degree, Integral) or self.degree not in DEGREES:
            allowed = ", ".join(map(str, DEGREES))
            raise InputError("System.degree", f"{shown(self.degree)} is given, allowed is one of {allowed}; choose one")
        if not (isinstance(self.tolerance, Real) and self.tolerance > 0.0):
            raise InputError("System.tolerance", f"{shown(self.tolerance)} is given, allowed is above 0; change it")

    @property
    def mass_kg(self) -> float:
        """Total mass."""
        return self.primary.mass_kg + self.secondary.mass_kg

    @property
    def reduced_mass_kg(self) -> float:
        """m = M1 M2 / (M1 + M2)."""
        return self.primary.mass_kg * self.secondary.mass_kg / self.mass_kg

    @property
    def gm_m3_s2(self) -> float:
        """G (M1 + M2)."""
        return G * self.mass_kg

    @cached_property
    def oblateness_m2(self) -> float:
        """J2 R^2 of the primary, (I_z - (I_x + I_y)/2) / M1, in m2."""
        ix, iy, iz = self.primary.inertia_kg_m2
        return (iz - 0.5 * (ix + iy)) / self.primary.mass_kg

    @cached_property
    def flattening_m2(self) -> float:
        """Of both bodies; see the function of this name."""
        return flattening_m2(self.primary, self.secondary)

    @cached_property
    def gravity_model(self) -> int:
        """Number of the gravity model, by degree and symmetry."""
        return model_number(self.degree, even_pair(self.primary, self.secondary))

    @cached_property
    def parameters(self) -> tuple[np.ndarray, np.ndarray]:
        """Motion constants and gravity coefficients of the kernels; see equations.py."""
        return parameters(self.primary, self.secondary, self.degree, even_pair(self.primary, self.secondary))

    def at(self, state: State) -> System:
        """The same pair in another state."""
        return replace(self, state=state)
