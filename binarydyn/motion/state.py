"""Where the two bodies are at one instant, and what the system is: the inputs of every integration."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from numbers import Integral, Real
from typing import Any, Protocol

import numpy as np

from ..bodies.surface import Facets, Hit
from ..constants import G
from ..errors import InputError
from ..gravity.models import DEGREES, model_number
from ..gravity.mutual import MutualGravity, even_pair, mutual_gravity
from ..kinds import BODY, as_shown, check_choice, check_kind, shape
from ..notebook import Displayed
from ..vectors import quaternion_of_turn, quaternion_product, rotation_of_quaternion
from .equations import parameters
from .layout import ATTITUDE1, ATTITUDE2, POSITION, RATE1, RATE2, VELOCITY
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


def quadrupole_kg_m2(body: Body) -> tuple[float, float]:
    """(M J2 R^2, 4 M C22 R^2) = (I_z - (I_x + I_y)/2, I_y - I_x), of a body or of an array of them."""
    x, y, z = body.inertia_kg_m2
    return z - 0.5 * (x + y), y - x


def oblateness_m2(body: Body) -> float:
    """J2 R^2, of a body or of an array of them."""
    return quadrupole_kg_m2(body)[0] / body.mass_kg


def aligned_m2(body: Body, facing: float = 1.0) -> float:
    """(J2 + 6 C22) R^2 of a body whose long axis lies along r, J2 - 6 C22 with the next one there (facing -1): what it
    adds to the pull at the other one."""
    polar, sectorial = quadrupole_kg_m2(body)
    return (polar + 1.5 * facing * sectorial) / body.mass_kg


def flattening_m2(primary: Body, secondary: Body) -> float:
    """J of oblate_term, m2: of a primary averaged over its spin and an aligned secondary.

    Murray & Dermott 1999, ch. 6.
    """
    return oblateness_m2(primary) + aligned_m2(secondary)


def oblate_term(j_m2, separation_m):
    """3/2 J / a^2, of numbers or arrays: n^2 a^3 / GM less 1 of a circular orbit, J = flattening_m2.

    With J = J2 R^2 of an oblate primary alone also the apsidal rate over n, to first order (Murray & Dermott 1999,
    ch. 6).
    """
    return 1.5 * j_m2 / separation_m**2


_PARTS = {"position_m": 3, "velocity_m_s": 3, "attitude1": 4, "rate1_rad_s": 3, "attitude2": 4, "rate2_rad_s": 3}
"""The parts of a state and their lengths, in the order of the kernels."""
_UNTURNED = (1.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, eq=False, repr=False)
class State(Displayed):
    """Where two bodies are and how they move, at one instant; its arrays are copies that nobody can change.

    position_m (3,), m, from the primary to the secondary, and velocity_m_s (3,), m/s, in the inertial frame;
    attitude1, attitude2: of the primary and the secondary, body -> inertial, quaternions (4,), scalar first, or scipy
    Rotations, by default not turned; rate1_rad_s, rate2_rad_s (3,), rad/s, in the frame of the body, by default zero.
    Raises InputError.

    >>> import binarydyn as bd
    >>> state = bd.State([821.0, 0.0, 0.0], [0.0, 0.137, 0.0], rate2_rad_s=[0.0, 0.0, 1.67e-4])
    >>> state
    <State 821.00 m apart, 0.13700 m/s; spins 0 and 0.000167 rad/s>
    >>> state == bd.State.from_vector(state.vector)
    True
    """

    position_m: np.ndarray
    velocity_m_s: np.ndarray
    attitude1: Any = _UNTURNED
    rate1_rad_s: Any = (0.0, 0.0, 0.0)
    attitude2: Any = _UNTURNED
    rate2_rad_s: Any = (0.0, 0.0, 0.0)

    def __post_init__(self):
        for name, length in _PARTS.items():
            object.__setattr__(self, name, _fixed(name, getattr(self, name), length))

    @property
    def vector(self) -> np.ndarray:
        """All of it as (20,): r, v, q1, w1, q2, w2, the order that the kernels use."""
        return np.concatenate([getattr(self, name) for name in _PARTS])

    @classmethod
    def from_vector(cls, y: np.ndarray) -> State:
        """State from the (20,) vector r, v, q1, w1, q2, w2; the quaternions are brought to unit length."""
        if getattr(y, "shape", None) != (20,):
            check_kind("State.from_vector", y, shape(20))
            y = np.asarray(y, dtype=float)
        q1, q2 = (y[attitude] / np.linalg.norm(y[attitude]) for attitude in (ATTITUDE1, ATTITUDE2))
        return cls(y[POSITION], y[VELOCITY], q1, y[RATE1], q2, y[RATE2])

    def tilted(self, body: str, *, roll_deg: float = 0.0, pitch_deg: float = 0.0, yaw_deg: float = 0.0) -> State:
        """The same with a body, "primary" or "secondary", turned: by roll about its x axis, then by pitch about its new
        y axis and by yaw about its new z axis, deg.  Its rate in its own frame stays.  Raises InputError.

        >>> import binarydyn as bd
        >>> system = bd.build(bd.example())
        >>> turned = system.with_state(system.state.tilted("secondary", yaw_deg=10.0))
        >>> print(round(bd.simulate(turned, days=1.0).yaw_deg[0], 2))
        10.0
        """
        check_choice("State.tilted(body)", body, "primary", "secondary")
        name = "attitude1" if body == "primary" else "attitude2"
        quaternion = getattr(self, name)
        for axis, angle in zip(np.eye(3), (roll_deg, pitch_deg, yaw_deg), strict=True):
            check_kind("State.tilted", angle, Real)
            quaternion = _product(*quaternion, *_turn(*(math.radians(angle) * axis)))
        return replace(self, **{name: quaternion})

    def __eq__(self, other: object) -> bool:
        """Whether all numbers are the same."""
        return np.array_equal(self.vector, other.vector) if isinstance(other, State) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.vector.tobytes())

    def _line(self) -> str:
        r, v, w1, w2 = (
            float(np.linalg.norm(each))
            for each in (self.position_m, self.velocity_m_s, self.rate1_rad_s, self.rate2_rad_s)
        )
        return f"{r:.2f} m apart, {v:.5f} m/s; spins {w1:.3g} and {w2:.3g} rad/s"

    def _facts(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _PARTS}


_product, _turn = (getattr(each, "py_func", each) for each in (quaternion_product, quaternion_of_turn))


def _fixed(name: str, given: Any, length: int) -> np.ndarray:
    """A part of a state as an array of its own that nobody can change; a Rotation as its quaternion."""
    given = given.as_quat(scalar_first=True) if hasattr(given, "as_quat") else given
    if getattr(given, "shape", None) != (length,) or given.dtype.kind not in "fiu":
        check_kind(f"State.{name}", given, shape(length))
    values = np.array(given, dtype=float)
    values.flags.writeable = False
    return values


@dataclass(frozen=True, eq=False, repr=False)
class System(Displayed):
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
                "System.integrator", f"{as_shown(self.integrator)} is given, allowed is {allowed}; choose one"
            )
        if not isinstance(self.degree, Integral) or self.degree not in DEGREES:
            allowed = ", ".join(map(str, DEGREES))
            raise InputError(
                "System.degree", f"{as_shown(self.degree)} is given, allowed is one of {allowed}; choose one"
            )
        if not (isinstance(self.tolerance, Real) and self.tolerance > 0.0):
            raise InputError("System.tolerance", f"{as_shown(self.tolerance)} is given, allowed is above 0; change it")

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
        """J2 R^2 of the primary."""
        return oblateness_m2(self.primary)

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

    def with_state(self, state: State) -> System:
        """The same system in another state."""
        return replace(self, state=state)

    def gravity(self, position_m: np.ndarray, attitude1: Any = None, attitude2: Any = None) -> MutualGravity:
        """Mutual gravity with the secondary at position_m (..., 3), m, from the primary, inertial frame.

        attitude1, attitude2: as of a State, by default the system's.  Returns a MutualGravity of arrays: potential_J
        and converged (...), force_N on the secondary, torque1_N_m and torque2_N_m (..., 3).  Raises InputError.

        >>> import binarydyn as bd
        >>> bd.build(bd.example()).gravity([[821.0, 0.0, 0.0], [1642.0, 0.0, 0.0]]).force_N[:, 0].round()
        array([-61720., -15319.])
        """
        check_kind("System.gravity(position_m)", position_m, shape(..., 3))
        place = np.asarray(position_m, dtype=float)
        if not np.all(place.any(axis=-1)):
            raise InputError("System.gravity(position_m)", "a distance of zero is given, allowed is above; change it")
        turned = {"attitude1": attitude1, "attitude2": attitude2}
        state = replace(self.state, **{name: given for name, given in turned.items() if given is not None})
        C1, C2 = (np.array(rotation_of_quaternion(*q)).reshape(3, 3) for q in (state.attitude1, state.attitude2))
        found = [mutual_gravity(self.primary, self.secondary, r, C1, C2, self.degree) for r in place.reshape(-1, 3)]
        return MutualGravity.together(found, place.shape[:-1])

    def _line(self) -> str:
        bodies = " + ".join(map(_called, (self.primary, self.secondary)))
        how = f"degree {self.degree}, {self.integrator}"
        hit = f"; {self.impact.reason}" if hasattr(self.impact, "reason") else ""
        return f"{bodies}, {np.linalg.norm(self.state.position_m):.2f} m apart; {how}{hit}"

    def _facts(self) -> dict[str, Any]:
        names = ("primary", "secondary", "state", "degree", "tolerance", "integrator")
        return {name: getattr(self, name) for name in names}


def _called(body: Body) -> str:
    """A body in a few words: its kind, and an ellipsoid that holds it."""
    return f"{type(body).__name__.lower()} {'x'.join(f'{axis:.4g}' for axis in body.enclosing_axes_m)} m"
