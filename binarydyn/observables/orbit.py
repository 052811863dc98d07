"""The shape and the slow turning of the mutual orbit: eccentricity, apsidal and nodal precession, mean orbit normal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..columns import angle_deg
from ..constants import DAY_S
from ..dynamics.angular_momentum import angular_momenta
from ..errors import InputError
from ..kinds import takes
from ..motion.trajectory import Trajectory
from .averages import hann, mean, slope, spans, squared_hann
from .estimators import weighted_fit
from .frequency import Line, even_count, lines
from .interpolation import extrema, values_at
from .window import Window, window

TURN = 2.0 * np.pi
_DEG_DAY = float(np.degrees(DAY_S))  # rad/s in deg/day
_CYCLES_NEEDED = 5  # for a precession
_LEAST_INCLINATION = 1e-6  # rad, for a node


@dataclass(frozen=True)
class OrbitShape:
    """Shape of the orbit over a window.

    eccentricity = (r_max - r_min)/(r_max + r_min), geometric, extremes refined between samples; mean_separation_m is
    the time mean of |r|.  apsidal_precession_deg_day: slope of the inertial directions of the pericentres (one a radial
    cycle, the lowest); apsidal_precession_by_lines_deg_day: n - kappa, kappa the main line of r; both None, with a
    warning, where pericentres are not defined.  nodal_precession_deg_day: rate of the node on the plane normal to the
    total angular momentum of the run, about which the orbit's normal circles; None where inclination_deg (time mean,
    from that plane) is below 1e-6 rad, so that there is no node, and, with a warning, where the node does not turn
    smoothly.  normal (3,): unit vector of the time mean of the direction of r x v.
    """

    eccentricity: float
    separation_min_m: float
    separation_max_m: float
    mean_separation_m: float
    apsidal_precession_deg_day: float | None
    apsidal_precession_by_lines_deg_day: float | None
    nodal_precession_deg_day: float | None
    inclination_deg: float
    normal: np.ndarray
    warnings: tuple[str, ...]


@takes(trajectory="Trajectory")
def orbit_shape(trajectory: Trajectory) -> OrbitShape:
    """Shape of the orbit over the window of a trajectory.

    Errors: InputError for less than one turn, or unusable samples.
    """
    view = window(trajectory)
    if view.cycles < 1.0:
        raise InputError(
            "trajectory", f"{view.cycles:.2f} turns in the window, at least 1 is needed for an orbit's shape"
        )
    low, high = _extremes(view)
    normals = np.cross(view.position_m, view.velocity_m_s)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    middle = mean(normals, spans(view.time_s))
    momenta = angular_momenta(view.system.primary, view.system.secondary, trajectory.y.T)
    pole = _pole(view.time_s, momenta, middle)
    inclination_deg = float(mean(angle_deg(normals.T, pole), spans(view.time_s)))
    slope_rate, line_rate, apsidal_warning = _apsidal(view)
    has_node = np.radians(inclination_deg) >= _LEAST_INCLINATION
    nodal, nodal_warning = _nodal(view.time_s, momenta, pole) if has_node else (None, None)
    return OrbitShape(
        (high - low) / (high + low),
        low,
        high,
        float(mean(view.separation_m, spans(view.time_s))),
        slope_rate,
        line_rate,
        nodal,
        inclination_deg,
        middle / np.linalg.norm(middle),
        tuple(warning for warning in (apsidal_warning, nodal_warning) if warning),
    )


def _extremes(view: Window) -> tuple[float, float]:
    """Least and greatest |r|, m, of the samples and of the extrema between them."""
    r = view.separation_m
    inner = [extrema(view.time_s, r, view.radial_m_s, sign)[1] for sign in (1, -1)]
    return float(np.append(inner[0], r).min()), float(np.append(inner[1], r).max())


def _apsidal(view: Window) -> tuple[float | None, float | None, str | None]:
    """Apsidal precession, deg/day, by pericentre directions and by lines, or why there is none."""
    if view.cycles < _CYCLES_NEEDED:
        return None, None, f"apsidal precession: {view.cycles:.2f} cycles in the window, {_CYCLES_NEEDED} are needed"
    n = TURN / weighted_fit(view)
    main = _radial_line(view)
    if main is None:
        return None, None, "apsidal precession: the separation is constant, so there is no pericentre"
    if not 0.5 < main.rate_rad_s / n < 1.5:
        return (
            None,
            None,
            (
                f"apsidal precession: the separation varies mainly (by {main.amplitude:.3g} m) at "
                f"{main.rate_rad_s / n:.3g} times the orbital rate, which is "
                "no eccentricity: the orbit is too nearly circular for a pericentre"
            ),
        )
    by_lines = (n - main.rate_rad_s) * _DEG_DAY
    times = _pericentres(view, main)
    if len(times) < _CYCLES_NEEDED - 1:
        return None, by_lines, f"apsidal precession: {len(times)} pericentres in the window are too few for their slope"
    direction = values_at(view.time_s, view.longitude_rad, view.rate_rad_s, times)
    turned = np.unwrap(direction)  # takes the whole turn between pericentres out
    return slope(times, turned, squared_hann(times)) * _DEG_DAY, by_lines, None


def _radial_line(view: Window) -> Line | None:
    """Main line of |r|, None where |r| is constant.

    The speed of its variation unmasks an oscillation too fast for the samples, which would pose as a slow line: then
    the rate is the one that speed and amplitude give.
    """
    count = even_count(view.time_s)
    time, r, radial = view.time_s[:count], view.separation_m[:count], view.radial_m_s[:count]
    if np.ptp(r) < 1e-9 * r.mean():
        return None
    main = lines(time, r)[0]
    speed = 2.0 * abs(mean(radial * np.exp(-1j * main.rate_rad_s * time), hann(time)))
    implied = float(speed / main.amplitude)
    return main if 0.5 < implied / main.rate_rad_s < 2.0 else Line(implied, main.amplitude, main.phase_rad)


def _pericentres(view: Window, main: Line) -> np.ndarray:
    """Times (m,), s, of the lowest minimum of |r| in each whole cycle, apocentre to apocentre, of its main line.

    A forced ripple on a nearly circular orbit makes several minima a cycle; the lowest is the pericentre.
    """
    times, depths = extrema(view.time_s, view.separation_m, view.radial_m_s, 1)
    first, last = (main.rate_rad_s * view.time_s[[0, -1]] + main.phase_rad) / TURN
    cycle = np.floor((main.rate_rad_s * times + main.phase_rad) / TURN)
    whole = (cycle >= first) & (cycle + 1.0 <= last)
    times, depths, cycle = times[whole], depths[whole], cycle[whole]
    order = np.lexsort((depths, cycle))
    lowest = order[np.unique(cycle[order], return_index=True)[1]]
    return times[lowest]


def _pole(time_s: np.ndarray, momenta: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """(3,) axis of the total angular momentum, on the orbit normal's side.

    Its time mean, since perturbations move it; without them it is constant.  A retrograde primary that holds more than
    the orbit has the total on the other side.
    """
    pole = mean(momenta.sum(axis=0).T, spans(time_s))
    return pole * np.copysign(1.0 / np.linalg.norm(pole), pole @ normal)


def _nodal(time_s: np.ndarray, momenta: np.ndarray, pole: np.ndarray) -> tuple[float | None, str | None]:
    """Rate, deg/day, at which the orbit's normal, and so its node, turns about the pole; or why none is told.

    The normal is taken of the orbit and the secondary's spin together: what the two exchange while the secondary rolls
    swings the node by degrees a day and leaves the rate over the window (built-in system, 20 to 60 days: to 0.0015 in
    place of 0.005 deg/day).
    """
    x = np.cross(pole, np.eye(3)[np.argmin(np.abs(pole))])
    normals = momenta[0] + momenta[2]
    turned = np.unwrap(np.arctan2(np.cross(pole, x) @ normals, x @ normals))
    if np.abs(np.diff(turned)).max() > 0.5 * np.pi:
        return (
            None,
            "nodal precession: the orbit normal passes too near the total angular momentum for its node to be followed",
        )
    return slope(time_s, turned, squared_hann(time_s)) * _DEG_DAY, None
