"""Motion on an ellipse about a point mass: Kepler's equation, elements to position and velocity, and back.

Textbook formulae (Murray & Dermott 1999, ch. 2; Danby 1988, ch. 6).  Plain numpy; SI units, radians.  The frame is
whatever the angles refer to: ecliptic J2000 for the elements of [heliocentric_orbit].  Two bodies only: planets pull an
asteroid off such an ellipse by some 1e-4 of its distance a year, much more after a close approach.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .constants import GM_SUN
from .errors import InputError

_NEWTON_STEPS = 100
_SMALLEST = 1e-12
"""Eccentricity, or sine of the inclination, below which the angle that it would define is set to zero."""


@dataclass(frozen=True)
class Elements:
    """An ellipse and the place on it at time zero: the mean anomaly is the one then.

    The node counts from x in the plane z = 0 to where the motion crosses it upwards; an orbit in that plane has its
    node at x, a circle its pericentre at the node.
    """

    semi_major_axis_m: float
    eccentricity: float
    inclination_rad: float
    node_rad: float
    argument_of_pericentre_rad: float
    mean_anomaly_rad: float

    def __post_init__(self):
        if not (self.semi_major_axis_m > 0.0 and 0.0 <= self.eccentricity < 1.0):
            raise InputError(
                "elements",
                f"semi_major_axis_m {self.semi_major_axis_m:g} and eccentricity {self.eccentricity:g} are given, "
                "allowed is an ellipse: an axis above 0 and 0 <= eccentricity < 1; change them",
            )

    def mean_motion_rad_s(self, gm_m3_s2: float = GM_SUN) -> float:
        """n = sqrt(GM / a^3)."""
        return math.sqrt(gm_m3_s2 / self.semi_major_axis_m) / self.semi_major_axis_m

    @property
    def pericentre_m(self) -> float:
        """a (1 - e)."""
        return self.semi_major_axis_m * (1.0 - self.eccentricity)

    @property
    def apocentre_m(self) -> float:
        """a (1 + e)."""
        return self.semi_major_axis_m * (1.0 + self.eccentricity)

    @property
    def axes(self) -> np.ndarray:
        """(3, 3), rows: towards the pericentre, along the motion there, the orbit's pole."""
        (cn, sn), (ci, si), (cw, sw) = (
            (math.cos(angle), math.sin(angle))
            for angle in (self.node_rad, self.inclination_rad, self.argument_of_pericentre_rad)
        )
        node, beyond = np.array([cn, sn, 0.0]), np.array([-sn * ci, cn * ci, si])
        return np.array([cw * node + sw * beyond, -sw * node + cw * beyond, [sn * si, -cn * si, ci]])


def eccentric_anomaly(mean_anomaly_rad, eccentricity: float) -> np.ndarray:
    """E with E - e sin E = M to rounding, for 0 <= e < 1 and any M (any shape), on the same turn as M.

    Newton's method on half a turn, where the function is convex, from an upper bound of E: it falls to E without
    overshooting for every e.
    """
    mean = np.asarray(mean_anomaly_rad, dtype=float)
    turns = np.round(mean / (2.0 * math.pi))
    signed = mean - 2.0 * math.pi * turns
    half = np.abs(signed)
    e = float(eccentricity)
    anomaly = np.minimum(np.minimum(half + e, half / (1.0 - e)), math.pi)
    for _ in range(_NEWTON_STEPS):
        step = (anomaly - e * np.sin(anomaly) - half) / (1.0 - e * np.cos(anomaly))
        anomaly = anomaly - step
        if np.all(np.abs(step) <= 4e-16 * np.maximum(anomaly, 1e-300)):
            break
    return np.copysign(anomaly, signed) + 2.0 * math.pi * turns


def position_velocity(elements: Elements, time_s=0.0, gm_m3_s2: float = GM_SUN) -> tuple[np.ndarray, np.ndarray]:
    """Position, m, and velocity, m/s, each (..., 3), at times (...) counted from the one of the elements."""
    a, e, n = elements.semi_major_axis_m, elements.eccentricity, elements.mean_motion_rad_s(gm_m3_s2)
    anomaly = eccentric_anomaly(elements.mean_anomaly_rad + n * np.asarray(time_s, dtype=float), e)
    cosine, sine = np.cos(anomaly)[..., None], np.sin(anomaly)[..., None]
    minor = math.sqrt(1.0 - e * e)
    towards, along, _ = elements.axes
    position = a * ((cosine - e) * towards + minor * sine * along)
    velocity = n * a / (1.0 - e * cosine) * (-sine * towards + minor * cosine * along)
    return position, velocity


def displacement_m(elements: Elements, dv_m_s, time_s, gm_m3_s2: float = GM_SUN) -> np.ndarray:
    """(..., 3) by which a small change of the velocity (3,) at time zero moves the place at times (...), first order.

    The variation of r = f r0 + g v0 with the turn of the eccentric anomaly E (Battin 1999, An Introduction to the
    Mathematics and Methods of Astrodynamics, sec. 4.3 and 9.5, from memory); left out, its square over the distance.
    A difference of two places would lose the digits that both share.
    """
    a, e, n = elements.semi_major_axis_m, elements.eccentricity, elements.mean_motion_rad_s(gm_m3_s2)
    time, dv = np.asarray(time_s, dtype=float), np.asarray(dv_m_s, dtype=float)
    r0, v0 = position_velocity(elements, 0.0, gm_m3_s2)
    start = float(eccentric_anomaly(elements.mean_anomaly_rad, e))
    now = eccentric_anomaly(elements.mean_anomaly_rad + n * time, e)
    height, r = a * (1.0 - e * math.cos(start)), a * (1.0 - e * np.cos(now))
    sine, versine, cosine = np.sin(now - start), 2.0 * np.sin(0.5 * (now - start)) ** 2, np.cos(now - start)
    root = math.sqrt(gm_m3_s2)
    climb, d_climb = float(r0 @ v0) / root, float(r0 @ dv) / root
    d_a = 2.0 * a * a * float(v0 @ dv) / gm_m3_s2
    d_turn = -1.5 * n * time * d_a / a + height * d_a / a**2 * sine
    d_turn = a / r * (d_turn - (d_climb - 0.5 * climb * d_a / a) / math.sqrt(a) * versine)
    d_f = -(d_a * versine + a * sine * d_turn) / height
    g = (a * climb * versine + height * math.sqrt(a) * sine) / root
    d_g = (d_a * climb + a * d_climb) * versine + a * climb * sine * d_turn
    d_g = (d_g + height * (0.5 * d_a / math.sqrt(a) * sine + math.sqrt(a) * cosine * d_turn)) / root
    return d_f[..., None] * r0 + d_g[..., None] * v0 + g[..., None] * dv


def elements_at(position_m, velocity_m_s, gm_m3_s2: float = GM_SUN) -> Elements:
    """The ellipse through one position (3,) and velocity (3,), its mean anomaly at that instant; angles in [0, 2 pi).

    InputError where the motion is unbound or along a straight line.
    """
    r, v = np.asarray(position_m, dtype=float), np.asarray(velocity_m_s, dtype=float)
    distance, area = float(np.linalg.norm(r)), np.cross(r, v)
    twice = float(np.linalg.norm(area))
    inverse_axis = 2.0 / distance - float(v @ v) / gm_m3_s2
    if not (inverse_axis > 0.0 and twice > 0.0):
        raise InputError(
            "velocity_m_s",
            f"{v.tolist()} at position_m {r.tolist()} is no motion on an ellipse, allowed is a speed across the line "
            "to the centre and below the speed of escape; change it",
        )
    a = 1.0 / inverse_axis
    e_cosine, e_sine = 1.0 - distance / a, float(r @ v) / math.sqrt(gm_m3_s2 * a)
    e = math.hypot(e_cosine, e_sine)
    anomaly = math.atan2(e_sine, e_cosine) if e > _SMALLEST else None
    pole = area / twice
    sine = float(np.hypot(pole[0], pole[1]))
    node = np.array([-pole[1], pole[0], 0.0]) / sine if sine > _SMALLEST else np.array([1.0, 0.0, 0.0])
    from_node = math.atan2(float(pole @ np.cross(node, r)), float(node @ r))
    if anomaly is None:
        anomaly, argument = from_node, 0.0
    else:  # the same anomaly enters both angles, so its error for a small eccentricity leaves the place alone
        argument = from_node - math.atan2(math.sqrt(1.0 - e * e) * math.sin(anomaly), math.cos(anomaly) - e)
    return Elements(
        semi_major_axis_m=a,
        eccentricity=e,
        inclination_rad=math.atan2(sine, pole[2]),
        node_rad=math.atan2(node[1], node[0]) % (2.0 * math.pi),
        argument_of_pericentre_rad=argument % (2.0 * math.pi),
        mean_anomaly_rad=(anomaly - e * math.sin(anomaly)) % (2.0 * math.pi),
    )


def hill_radius_m(distance_m: float, gm_m3_s2: float, gm_sun_m3_s2: float = GM_SUN) -> float:
    """d (GM / 3 GM_sun)^(1/3): reach of the system's pull against the Sun's tide at a distance d from the Sun.

    At the perihelion d = a (1 - e), as usually quoted (Hamilton & Burns 1992, Icarus 96, 43).
    """
    return distance_m * (gm_m3_s2 / (3.0 * gm_sun_m3_s2)) ** (1.0 / 3.0)
