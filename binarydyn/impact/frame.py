"""The axes in which a velocity change is told, and where they lie: orbit axes, the inertial frame and the ecliptic.

Orbit axes: along the secondary's motion, outward from the primary, along the orbit normal, at one instant.  Inertial: x
from the primary to the secondary at t0 in the relaxed state, z along the orbit normal before the impact.  Ecliptic
J2000.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace

import numpy as np

from ..columns import cross, dot, length, towards, turned, turned_back, unit
from ..errors import InputError
from ..kinds import takes
from ..motion.state import State, System
from ..scenario import Direction, MutualOrbit
from ..scenario.side_by_side import Varied

Numbers = float | np.ndarray
_SMALLEST_SINE = 1e-9
"""Sine of an angle below which a plane is not worth naming: its direction would be known to fewer than 7 digits."""


@takes(state="State")
def orbit_axes(state: State) -> np.ndarray:
    """(3, 3), rows along-track t, radial r-hat, normal n, in the inertial frame; components of u are `axes @ u`.

    r-hat points from the primary to the secondary, n along r x v, and t = n x r-hat is the direction of v without its
    radial part.  In this order the three are left-handed (r-hat, t, n is right-handed).
    InputError where r and v span no plane: bodies at rest, or moving along the line of centres.
    """
    r, v = np.asarray(state.position_m, dtype=float), np.asarray(state.velocity_m_s, dtype=float)
    if not length(cross(r, v)) > _SMALLEST_SINE * length(r) * length(v):
        raise InputError(
            "state.velocity_m_s",
            f"{v.tolist()} at position_m {r.tolist()} is along the line of centres, so along-track is not defined; "
            "allowed is a velocity across that line, give one",
        )
    return axes_of(r, v)


def axes_of(r: np.ndarray, v: np.ndarray) -> np.ndarray:
    """The same (3, 3) of a position and a velocity (3,), or (3, 3, n) of many (3, n), that span a plane."""
    radial, normal = unit(r), unit(cross(r, v))
    return np.array([cross(normal, radial), radial, normal])


def inertial_direction(axes: np.ndarray, components: Sequence[float] | np.ndarray) -> np.ndarray:
    """Unit vector (3,) in the inertial frame from (along_track, radial, normal), of which only the ratio counts.

    axes (3, 3) as `orbit_axes` returns them; of many: (3, n) and axes (3, 3, n).  InputError for zero or non-finite
    components.
    """
    vector = np.asarray(components, dtype=float)
    size = length(vector)
    if not np.all(np.isfinite(size) & (size > 0.0)):
        raise InputError(
            "direction",
            f"{vector.tolist()} given, finite numbers that are not all zero are allowed; "
            "give along_track, radial, normal",
        )
    return turned_back(axes, vector / size)


def ecliptic_axes(orbit: MutualOrbit | None) -> np.ndarray:
    """(3, 3), rows x, y, z of the inertial frame in ecliptic J2000 coordinates: inertial = axes @ ecliptic.

    z is the orbit's pole p; x lies node_angle_deg ahead, along the motion, of the ascending node of the orbit on the
    ecliptic, e x p / |e x p| with e the ecliptic's pole (where both agree, at the pole's longitude + 90 deg).
    InputError without a pole.
    """
    if orbit is None or orbit.pole_deg is None:
        raise InputError(
            "mutual_orbit.pole_longitude_deg",
            "the orbit's pole is not given, the ecliptic frame needs it; add pole_longitude_deg and pole_latitude_deg",
        )
    return axes_of_pole(*orbit.pole_deg, orbit.node_angle_deg)


def axes_of_pole(longitude_deg: Numbers, latitude_deg: Numbers, node_angle_deg: Numbers) -> np.ndarray:
    """The same of numbers, or (3, 3, n) of (n,) each."""
    pole, longitude, ahead = towards(longitude_deg, latitude_deg), np.radians(longitude_deg), np.radians(node_angle_deg)
    node = np.array([-np.sin(longitude), np.cos(longitude), 0.0 * longitude])
    x = np.cos(ahead) * node + np.sin(ahead) * cross(pole, node)
    return np.array([x, cross(pole, x), pole])


def direction_in_space(direction: Direction, axes: np.ndarray, orbit: MutualOrbit | None) -> np.ndarray:
    """Unit vector (3,), inertial, of a scenario's direction; axes (3, 3) as `orbit_axes` returns them.

    InputError for an ecliptic direction where the orbit has no pole.
    """
    one = Varied(SimpleNamespace(direction=direction, mutual_orbit=orbit), {}, 1)
    return directions_in_space(one, "direction", axes[..., None])[:, 0]


def directions_in_space(given: Varied, name: str, axes: np.ndarray) -> np.ndarray:
    """(3, n) of the direction of that dotted name, of many pairs with axes (3, 3, n)."""
    direction = given.stated(name)
    numbers = given.vector(name, *direction.parts)
    if direction.frame == "orbit":
        return inertial_direction(axes, numbers)
    if direction.frame == "inertial":
        return unit(numbers)
    ecliptic_axes(given.stated("mutual_orbit"))  # refuses an orbit without a pole
    pole = given.vector("mutual_orbit", "pole_longitude_deg", "pole_latitude_deg", "node_angle_deg")
    return turned(axes_of_pole(*pole), towards(*numbers))


def tilted(
    normal: np.ndarray, direction: np.ndarray, secondary: np.ndarray, tilt_deg: np.ndarray, azimuth_deg: np.ndarray
) -> np.ndarray:
    """Unit vector tilt_deg away from a normal, at an azimuth that counts about the normal, anticlockwise from
    outside, from downrange: the part of the direction of flight along the ground.

    Where the flight is straight down, from that part of the secondary's z axis, and on its pole from its x axis.
    Vectors (3,) or (3, n) unit, in one frame; secondary (3, 3) or (3, 3, n), body -> that frame.
    """
    ahead = direction - dot(direction, normal) * normal
    for axis in (secondary[:, 2], secondary[:, 0]):
        ahead = np.where(length(ahead) < _SMALLEST_SINE, axis - dot(axis, normal) * normal, ahead)
    ahead = unit(ahead)
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    aside = np.cos(azimuth) * ahead + np.sin(azimuth) * cross(normal, ahead)
    return np.where(np.equal(tilt_deg, 0.0), normal, np.cos(tilt) * normal + np.sin(tilt) * aside)


def mirrored_state(state: State) -> State:
    """The same bodies in each other's places: r and v from the second to the first.  Inertial axes stay."""
    return State(
        -state.position_m, -state.velocity_m_s, state.attitude2, state.rate2_rad_s, state.attitude1, state.rate1_rad_s
    )


def mirrored(system: System) -> System:
    """The same system with its bodies in each other's places, so that a hit of its primary is one of the secondary."""
    return replace(system, primary=system.secondary, secondary=system.primary, state=mirrored_state(system.state))


def aim_axes(axes: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """(2, 3), the axes of the aim offset [u, v] in the plane normal to the direction of flight, inertial frame.

    u is along orbit normal x direction, or along-track where the flight is along the normal; v = direction x u.
    Of many flights (3, n) with axes (3, 3, n): (2, 3, n).
    """
    along_track, _, normal = axes
    first, upright = cross(normal, direction), along_track - dot(along_track, direction) * direction
    first = unit(np.where(length(first) < _SMALLEST_SINE, upright, first))
    return np.array([first, cross(direction, first)])


def outward(axis: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """The axis, or its opposite, that leaves the ground; vectors (3,) or (3, n)."""
    return np.where(dot(axis, normal) >= 0.0, axis, -axis)
