"""How far the system rules its surroundings, and what orbits and speeds there are within: closed forms of the trade.

All take both bodies, or each of them, as a point mass at its centre: right outside about two separations to some per
cent, and at a surface to the departure of the body from a sphere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..constants import ASTRONOMICAL_UNIT_M, GM_SUN, HOUR_S, SOLAR_IRRADIANCE_1AU_W_M2, SPEED_OF_LIGHT_M_S, G
from ..motion.state import Body, System


def sphere_of_influence_m(semi_major_axis_m: float, gm_m3_s2: float) -> float:
    """a (M / M_sun)^(2/5): where patched conics change centre (Bate, Mueller & White 1971, ch. 7)."""
    return semi_major_axis_m * (gm_m3_s2 / GM_SUN) ** 0.4


def circular_speed_m_s(gm_m3_s2: float, radius_m: float) -> float:
    """sqrt(GM / r)."""
    return math.sqrt(gm_m3_s2 / radius_m)


def escape_speed_m_s(gm_m3_s2: float, radius_m: float) -> float:
    """sqrt(2 GM / r)."""
    return math.sqrt(2.0 * gm_m3_s2 / radius_m)


def circular_period_h(gm_m3_s2: float, radius_m: float) -> float:
    """2 pi sqrt(r^3 / GM), Kepler's third law."""
    return 2.0 * math.pi * math.sqrt(radius_m / gm_m3_s2) * radius_m / HOUR_S


def synchronous_radius_m(gm_m3_s2: float, rate_rad_s: float) -> float:
    """(GM / w^2)^(1/3): where a circular orbit takes as long as a turn of the body."""
    return (gm_m3_s2 / rate_rad_s**2) ** (1.0 / 3.0)


def solar_flux_w_m2(distance_m: float) -> float:
    """1361 W/m2 (1 au / d)^2."""
    return SOLAR_IRRADIANCE_1AU_W_M2 * (ASTRONOMICAL_UNIT_M / distance_m) ** 2


def light_acceleration_m_s2(distance_m: float, area_to_mass_m2_kg: float, reflectance: float) -> float:
    """(1 + reflectance) (flux / c) A/m, away from the Sun: a flat plate across the light."""
    pressure = (1.0 + reflectance) * solar_flux_w_m2(distance_m) / SPEED_OF_LIGHT_M_S
    return pressure * area_to_mass_m2_kg


def terminator_limits_m(gm_m3_s2: float, acceleration_m_s2: float) -> tuple[float, float]:
    """(safe, largest) radius of an orbit whose plane is across the sunlight, against its pressure g; inf for g = 0.

    safe = sqrt(GM/g) / 4: there even the energy of a circular orbit, -GM/2a, is below that of the saddle behind the
    body, -2 sqrt(GM g), so no disturbance of the direction lets it escape.  largest = (2/3) sqrt(2/3) sqrt(GM/g): the
    circular orbit displaced from the Sun by z, GM z/r^3 = g, is stable to small disturbances for z < r/3, up to r =
    sqrt(GM/(3g)).  Both follow from the energy of a point mass with a uniform acceleration (Dankowicz 1994, CMDA 58,
    353, treats it; from memory).  Limits in use lie between, such as sqrt(3)/4 sqrt(GM/g) (Scheeres 2012, JGCD 35, 987;
    from memory).  Neglects the Sun's tide (small inside a third of the Hill radius), shadow and shape.
    """
    if acceleration_m_s2 == 0.0:
        return math.inf, math.inf
    scale = math.sqrt(gm_m3_s2 / acceleration_m_s2)
    return 0.25 * scale, 2.0 / 3.0 * math.sqrt(2.0 / 3.0) * scale


@dataclass(frozen=True)
class Ground:
    """What somebody on or near one body of the system meets.

    radius_m: of the sphere of the same volume, at which the speeds hold; over the surface they change by the root of
    its distance.  escape_speed: from this body alone; pair_escape_speed: from both, at rest in space.  rotation_speed:
    of the ground at the equator.  synchronous_radius_m: with synchronous_says where no orbit can be there.
    room_m: separation (M_k / 3 M_other)^(1/3), about which the other body takes over; no more than the separation.
    """

    name: str
    gm_m3_s2: float
    radius_m: float
    gravity_m_s2: float
    escape_speed_m_s: float
    system_escape_speed_m_s: float
    rotation_speed_m_s: float
    lowest_circular_speed_m_s: float
    synchronous_radius_m: float
    synchronous_says: str
    room_m: float


def volume_radius_m(body: Body) -> float:
    """Radius of the sphere with the body's mass and mean density."""
    return (3.0 * body.mass_kg / (4.0 * math.pi * body.density_kg_m3)) ** (1.0 / 3.0)


def grounds(system: System, separation_m: float) -> tuple[Ground, Ground]:
    """Of the primary and of the secondary, at their mean separation and with the rates of the system's state."""
    rates = (system.state.rate1_rad_s, system.state.rate2_rad_s)
    speeds = [float(np.linalg.norm(rate)) for rate in rates]
    return (
        _ground("primary", system.primary, system.secondary, speeds[0], separation_m),
        _ground("secondary", system.secondary, system.primary, speeds[1], separation_m),
    )


def _ground(name: str, body: Body, other: Body, rate: float, separation_m: float) -> Ground:
    gm, radius = G * body.mass_kg, volume_radius_m(body)
    room = separation_m * min(1.0, (body.mass_kg / (3.0 * other.mass_kg)) ** (1.0 / 3.0))
    synchronous = synchronous_radius_m(gm, rate) if rate else math.inf
    says = ""
    if synchronous < body.bounding_radius_m:
        says = "inside the body: the ground near its long ends turns faster than an orbit there"
    elif synchronous > room:
        says = "outside its Hill sphere: no synchronous orbit"
    return Ground(
        name=name,
        gm_m3_s2=gm,
        radius_m=radius,
        gravity_m_s2=gm / radius**2,
        escape_speed_m_s=escape_speed_m_s(gm, radius),
        system_escape_speed_m_s=math.sqrt(2.0 * (gm / radius + G * other.mass_kg / separation_m)),
        rotation_speed_m_s=rate * float(max(body.enclosing_axes_m[:2])),
        lowest_circular_speed_m_s=circular_speed_m_s(gm, radius),
        synchronous_radius_m=synchronous,
        synchronous_says=says,
        room_m=room,
    )
