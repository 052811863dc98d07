"""What moves the pair besides its own gravity: the Sun's tide, a drift of the mean motion, tides in the secondary.

With r from the primary to the secondary, and a unit vector d from the Sun at a distance D:

Sun's tide    r'' += (GM_sun / D^3) (3 d (d . r) - r), torque 3 (GM_sun / D^3) d x I d on each body; the barycentre
              moves on an ellipse (Murray & Dermott 1999, ch. 2 and 5).  Right to r / D, some 1e-8.
drift         r'' -= y r', without torque: y = n'/(3 n) for point masses; in the bodies' field and with the synchronous
              secondary's own spin see `share`.
dissipation   r'' -= (3 K / r^10) [2 r (r . r') + r^2 (r x w + r')], the opposite torque on the secondary, of spin w:
              the bulge that the primary raises on it follows with a constant time lag (Mignard 1979, Moon & Planets 20,
              301; Hut 1981, A&A 99, 126).  K = k2 lag G M1^2 R2^5 over the reduced mass.  The bulge
              without lag belongs to the shape.  Right while the lag is short beside all periods.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .._jit import kernel
from ..bodies.averaged import free_turns
from ..constants import GM_SUN, G
from ..gravity.line import line_potential
from ..kepler import Elements, hill_radius_m, position_velocity
from ..vectors import rotation_of_quaternion
from .layout import CLOCK

if TYPE_CHECKING:
    from .state import State, System

PROFILES = ("exponential", "linear")
MOTION = 19
"""How many of the kernels' parameters are those of equations.py; here the perturbations' begin."""
NEVER_S = 1e300
_NEWTON_STEPS = 60
MOST_ECCENTRIC = 0.6
"""Of an orbit whose drift is that of the circular one of its energy."""
LEAST_SLIP = 0.1
"""|w - n| over n of the primary's spin w, below which its equator's pull is no fast one."""
_NO_SUN = (0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class SolarTide:
    """The pair's way about the Sun: elements at t0, and the inertial axes as rows (3, 3) in the elements' frame."""

    elements: Elements
    axes: np.ndarray
    gm_m3_s2: float = GM_SUN

    @property
    def constants(self) -> tuple[float, ...]:
        """(10,): GM_sun, e, mean motion, mean anomaly at t0, and what cos E - e and sin E multiply, inertial frame."""
        orbit = self.elements
        towards, along, _ = orbit.axes @ np.asarray(self.axes).T
        minor = math.sqrt(1.0 - orbit.eccentricity**2)
        return (
            self.gm_m3_s2,
            orbit.eccentricity,
            orbit.mean_motion_rad_s(self.gm_m3_s2),
            orbit.mean_anomaly_rad,
            *(orbit.semi_major_axis_m * towards),
            *(orbit.semi_major_axis_m * minor * along),
        )

    def strength_s2(self, distance_m):
        """GM_sun / D^3, 1/s2; distances (...)."""
        return self.gm_m3_s2 / distance_m**3

    @property
    def strength_at_start_s2(self) -> float:
        """The same at t0."""
        return self.strength_s2(float(np.linalg.norm(position_velocity(self.elements, 0.0, self.gm_m3_s2)[0])))

    @property
    def perihelion_strength_s2(self) -> float:
        """The same at the perihelion, where it is greatest."""
        return self.strength_s2(self.elements.pericentre_m)

    def hill_radius_m(self, gm_m3_s2: float) -> float:
        """At the perihelion: beyond it the Sun's tide takes the moonlet away."""
        return hill_radius_m(self.elements.pericentre_m, gm_m3_s2, self.gm_m3_s2)


@dataclass(frozen=True)
class Drift:
    """A change of the mean motion: steady, n' in rad/s2, and a transient that changes the period by a total after t0.

    The transient dies out over an e-folding time (`exponential`) or goes on evenly for a time (`linear`).  A run
    backwards from t0 has none of it.  n'/n stays that of the state at t0, which is the same until n itself has changed.
    """

    rate_rad_s2: float = 0.0
    transient_period_change_s: float = 0.0
    transient_s: float = 1.0
    profile: str = "exponential"

    def constants(self, system: System, state: State, forwards: bool) -> tuple[float, ...]:
        """(4,): the steady y, that of the transient at its start, 1/s; its decay, 1/s, and its end, s."""
        mean_motion, part = share(system, state)
        steady = part * self.rate_rad_s2 / mean_motion
        change = self.transient_period_change_s * mean_motion / (2.0 * math.pi) if forwards else 0.0
        first = -part * math.log1p(max(change, -0.9)) / self.transient_s
        if self.profile == "linear":
            return steady, first, 0.0, self.transient_s
        return steady, first, 1.0 / self.transient_s, NEVER_S


@dataclass(frozen=True)
class Dissipation:
    """In the secondary: potential Love number k2, time lag of the bulge, and the radius that goes with k2."""

    love_number: float
    time_lag_s: float
    radius_m: float

    def coefficient(self, system: System) -> float:
        """3 K of the equation, m8/s, of an acceleration: 3 k2 lag R2^5 G (M1 + M2) M1/M2."""
        ratio = system.primary.mass_kg / system.secondary.mass_kg
        return 3.0 * self.love_number * self.time_lag_s * self.radius_m**5 * system.gm_m3_s2 * ratio

    def libration_damping_s(self, system: System, separation_m: float) -> float:
        """e-folding time of a small free libration, 2 C a^6 / (3 k2 lag G M1^2 R2^5); uncoupled from the orbit."""
        pull = 3.0 * self.love_number * self.time_lag_s * G * system.primary.mass_kg**2 * self.radius_m**5
        return 2.0 * system.secondary.inertia_kg_m2[2] * separation_m**6 / pull

    def eccentricity_damping_s(self, system: System, separation_m: float, mean_motion_rad_s: float) -> float:
        """e-folding time of a small eccentricity of a synchronous secondary, with the libration that it forces.

        1/t = 3 k2 lag n^2 (M1/M2) (R2/a)^5 (3/2 + B^2/2), where B e = 2 e / ((w/n)^2 - 1) is the forced yaw from the
        line of centres and w^2 = 3 n^2 (B - A)/C.  A round secondary, w = 0, has 3/2 + 2: 21/2 k2 lag n^2 ... (Hut
        1981, eq. 10 at small e; the rest from the power lost).  Useless near w = n, a resonance.
        """
        ix, iy, iz = system.secondary.inertia_kg_m2
        yaw = 2.0 / (3.0 * (iy - ix) / iz - 1.0)
        ratio = system.primary.mass_kg / system.secondary.mass_kg
        rate = 3.0 * self.love_number * self.time_lag_s * mean_motion_rad_s**2 * ratio
        return 1.0 / (rate * (self.radius_m / separation_m) ** 5 * (1.5 + 0.5 * yaw * yaw))


@dataclass(frozen=True)
class Perturbations:
    """Those that are on; energy and angular momentum of the pair are then not conserved."""

    tide: SolarTide | None = None
    drift: Drift | None = None
    dissipation: Dissipation | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """In words, those that are on."""
        words = {"the Sun's tide": self.tide, "drift": self.drift, "dissipation": self.dissipation}
        return tuple(word for word, given in words.items() if given is not None)

    def constants(self, system: System, state: State, forwards: bool) -> np.ndarray:
        """(15,): what the kernel `add` wants after the motion constants, for a run that starts at t0 in `state`."""
        sun = self.tide.constants if self.tide else _NO_SUN
        drift = (self.drift or Drift()).constants(system, state, forwards)
        return np.array([*sun, *drift, self.dissipation.coefficient(system) if self.dissipation else 0.0])


def share(system: System, state: State) -> tuple[float, float]:
    """(n, y n / n'): mean motion, and how strong a drag has to be to change it.

    The drag takes y m a^2 n of the angular momentum m a^2 n + C n, along the circular orbits of the whole field, so
    y n / n' = -1 - 2 (d ln a / d ln n) - C / (m a^2): 1/3 for points.  C counts where the secondary's spin follows n,
    which that of one round about z does not.  a is that of the circular orbit of the same energy, what the primary's
    equator lends at this phase taken out; that holds to e^2 times what the bodies add to a point's field.  Where the
    orbit is unbound or beyond an eccentricity of MOST_ECCENTRIC, no circular one stands for it, and a is r.
    """
    line = line_potential(system.primary, system.secondary, system.degree, system.gm_m3_s2)
    r, v = (float(np.linalg.norm(part)) for part in (state.position_m, state.velocity_m_s))
    energy = line.energy_m2_s2(r, v) - _lent_m2_s2(system, state, line.rate_rad_s(r))
    over = 2.0 * r * -energy / system.gm_m3_s2  # r / a, from 1 - e to 1 + e
    a = line.circular_m(energy) if abs(over - 1.0) < MOST_ECCENTRIC else r
    inertia = system.secondary.inertia_kg_m2
    spin = 0.0 if free_turns(inertia)[2] else inertia[2] / (system.reduced_mass_kg * a * a)
    return line.rate_rad_s(a), -1.0 - 2.0 / line.rate_slope(a) - float(spin)


def _lent_m2_s2(system: System, state: State, n: float) -> float:
    """By how much the energy of a circular orbit in the averaged field is above its mean while the primary turns.

    n/(w - n) U22, U22 = -3 GM C22 R^2 cos(2 phase) / r^3: the orbit's energy follows w dh, E - w h being kept.
    """
    axes = np.array(rotation_of_quaternion(*state.attitude1)).reshape(3, 3)
    x, y, _ = state.position_m @ axes
    ix, iy, _ = system.primary.inertia_kg_m2
    sense = math.copysign(1.0, np.cross(state.position_m, state.velocity_m_s) @ axes[:, 2])
    slip = sense * float(state.rate1_rad_s[2]) - n
    slip = math.copysign(max(abs(slip), LEAST_SLIP * n), slip)
    r = float(np.linalg.norm(state.position_m))
    equator = 0.75 * (iy - ix) / system.primary.mass_kg * (x * x - y * y) / (x * x + y * y)
    return -n / slip * system.gm_m3_s2 * equator / r**3


@kernel
def sun(t, gm, e, n, anomaly, px, py, pz, qx, qy, qz):
    """Unit vector from the Sun to the pair at the time t, and GM_sun / D^3; Kepler's equation by Newton's method.

    It starts above the root on half a turn, where the function is convex, so it cannot overshoot.
    """
    mean = anomaly + n * t
    mean -= 2.0 * math.pi * math.floor(mean / (2.0 * math.pi) + 0.5)
    half = abs(mean)
    found = min(half + e, math.pi)
    for _ in range(_NEWTON_STEPS):
        step = (found - e * math.sin(found) - half) / (1.0 - e * math.cos(found))
        found -= step
        if abs(step) < 1e-15:
            break
    c, s = math.cos(found) - e, math.copysign(math.sin(found), mean)
    x, y, z = c * px + s * qx, c * py + s * qy, c * pz + s * qz
    u = 1.0 / math.sqrt(x * x + y * y + z * z)
    return x * u, y * u, z * u, gm * u * u * u


@kernel
def drag(t, steady, first, decay, end):
    """y of the drift at the time t, 1/s."""
    return steady + first * math.exp(-decay * t) if 0.0 <= t < end else steady


@kernel
def add(w, at, to, k):
    """Add the perturbations to the rates w[to : to + 20] of the state w[at : at + 20] at the time w[CLOCK]."""
    rx, ry, rz, vx, vy, vz = w[at], w[at + 1], w[at + 2], w[at + 3], w[at + 4], w[at + 5]
    t = w[CLOCK]
    A11, A12, A13, A21, A22, A23, A31, A32, A33 = rotation_of_quaternion(w[at + 6], w[at + 7], w[at + 8], w[at + 9])
    B11, B12, B13, B21, B22, B23, B31, B32, B33 = rotation_of_quaternion(w[at + 13], w[at + 14], w[at + 15], w[at + 16])
    # the Sun
    dx, dy, dz, g = sun(t, k[19], k[20], k[21], k[22], k[23], k[24], k[25], k[26], k[27], k[28])
    along = 3.0 * (dx * rx + dy * ry + dz * rz)
    ax, ay, az = g * (along * dx - rx), g * (along * dy - ry), g * (along * dz - rz)
    x, y, z = A11 * dx + A21 * dy + A31 * dz, A12 * dx + A22 * dy + A32 * dz, A13 * dx + A23 * dy + A33 * dz
    w[to + 10] -= 3.0 * g * k[4] * y * z
    w[to + 11] -= 3.0 * g * k[5] * z * x
    w[to + 12] -= 3.0 * g * k[6] * x * y
    x, y, z = B11 * dx + B21 * dy + B31 * dz, B12 * dx + B22 * dy + B32 * dz, B13 * dx + B23 * dy + B33 * dz
    w[to + 17] -= 3.0 * g * k[10] * y * z
    w[to + 18] -= 3.0 * g * k[11] * z * x
    w[to + 19] -= 3.0 * g * k[12] * x * y
    # the drift
    damping = drag(t, k[29], k[30], k[31], k[32])
    # the lag: bx, by, bz are the acceleration, -m r x b the torque
    s1, s2, s3 = w[at + 17], w[at + 18], w[at + 19]
    ox, oy, oz = B11 * s1 + B12 * s2 + B13 * s3, B21 * s1 + B22 * s2 + B23 * s3, B31 * s1 + B32 * s2 + B33 * s3
    square = rx * rx + ry * ry + rz * rz
    u = 1.0 / square
    lag = -k[33] * u * u * u * u * u
    radial = 2.0 * (rx * vx + ry * vy + rz * vz)
    bx = lag * (radial * rx + square * (ry * oz - rz * oy + vx))
    by = lag * (radial * ry + square * (rz * ox - rx * oz + vy))
    bz = lag * (radial * rz + square * (rx * oy - ry * ox + vz))
    x, y, z = rz * by - ry * bz, rx * bz - rz * bx, ry * bx - rx * by
    m = 1.0 / k[0]
    w[to + 17] += m * k[7] * (B11 * x + B21 * y + B31 * z)
    w[to + 18] += m * k[8] * (B12 * x + B22 * y + B32 * z)
    w[to + 19] += m * k[9] * (B13 * x + B23 * y + B33 * z)
    w[to + 3] += ax - damping * vx + bx
    w[to + 4] += ay - damping * vy + by
    w[to + 5] += az - damping * vz + bz
