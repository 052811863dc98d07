"""What a trajectory gives to a notebook: periods as a table, osculating elements, what a body sees, labelled arrays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..constants import HOUR_S
from ..kinds import check_choice, check_kind, shape
from ..motion.trajectory import Trajectory
from ..notebook import library
from .estimates import periods
from .orientation import rotation_matrices

if TYPE_CHECKING:
    import pandas
    import xarray

_TURN = 2.0 * np.pi


def periods_table(trajectory: Trajectory) -> pandas.DataFrame:
    """Mean sidereal period over the whole run by every estimator: index method; columns period_h, sigma_s, cycles.

    Raises FewCyclesError below 5 cycles, InputError for unusable samples or without pandas.  Sources: METHODS.

    >>> import binarydyn as bd
    >>> run = bd.simulate(bd.build(bd.example()), days=20.0)
    >>> run.periods().loc["weighted_fit"].round(3).tolist()
    [10.42, 0.0, 46.065]
    """
    rows = {name: (each.value_h, each.sigma_s, each.cycles) for name, each in periods(trajectory).items()}
    columns = ("period_h", "sigma_s", "cycles")
    return library("pandas", "Trajectory.periods").DataFrame.from_dict(rows, orient="index", columns=columns)


def elements(trajectory: Trajectory) -> xarray.Dataset:
    """Osculating Kepler elements of r and v about the mass of both bodies, at each sample (n,), inertial frame.

    semi_major_axis_m (negative on a hyperbola), eccentricity, inclination_deg to z, node_deg from x, period_h (nan on
    a hyperbola), true_longitude_deg (node + argument of pericentre + true anomaly).  Not those of a point mass: the
    primary's flattening alone makes a circular orbit look eccentric (Murray & Dermott 1999, ch. 2 and 6).  Raises
    InputError without xarray.

    >>> import binarydyn as bd
    >>> run = bd.simulate(bd.build(bd.example()), days=1.0)
    >>> print(round(float(run.elements().semi_major_axis_m[0])))
    826
    """
    r, v, gm = trajectory.position_m, trajectory.velocity_m_s, trajectory.system.gm_m3_s2
    distance, h = np.linalg.norm(r, axis=1), np.cross(r, v)
    towards_pericentre = np.cross(v, h) / gm - r / distance[:, None]
    axis = 1.0 / (2.0 / distance - np.sum(v * v, axis=1) / gm)
    node = np.arctan2(h[:, 0], -h[:, 1])
    across = np.cross(h / np.linalg.norm(h, axis=1)[:, None], np.column_stack([np.cos(node), np.sin(node), 0.0 * node]))
    argument = np.arctan2(np.sum(r * across, axis=1), r[:, 0] * np.cos(node) + r[:, 1] * np.sin(node))
    columns = {
        "semi_major_axis_m": axis,
        "eccentricity": np.linalg.norm(towards_pericentre, axis=1),
        "inclination_deg": np.degrees(np.arctan2(np.hypot(h[:, 0], h[:, 1]), h[:, 2])),
        "node_deg": np.degrees(node) % 360.0,
        "true_longitude_deg": np.degrees(node + argument) % 360.0,
        "period_h": _TURN * np.sqrt(np.where(axis > 0.0, axis, np.nan) ** 3 / gm) / HOUR_S,
    }
    return _dataset(trajectory, "Trajectory.elements", {name: ("time_s", column) for name, column in columns.items()})


def seen_from(trajectory: Trajectory, body: str, direction: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where a direction stands in the sky of a body, "primary" or "secondary", at each sample.

    direction: inertial, of any length, one (3,) or one for each sample (n, 3); the primary seen from the secondary is
    `-run.position_m`.  Returns longitude, deg, from x towards y, -180 to 180, and latitude, deg, towards z, each (n,),
    in the frame of the body.  Raises InputError.

    >>> import binarydyn as bd
    >>> run = bd.simulate(bd.build(bd.example()), days=1.0)
    >>> longitude, latitude = run.seen_from("secondary", -run.position_m)
    >>> print(abs(longitude).max() < 0.01)
    True
    """
    check_choice("seen_from(body)", body, "primary", "secondary")
    check_kind("seen_from(direction)", direction, shape(3), shape(len(trajectory), 3))
    axes = rotation_matrices(trajectory.attitude1 if body == "primary" else trajectory.attitude2)
    x, y, z = np.einsum("kij,ki->jk", axes, np.broadcast_to(np.asarray(direction, dtype=float), (len(axes), 3)))
    return np.degrees(np.arctan2(y, x)), np.degrees(np.arctan2(z, np.hypot(x, y)))


def to_xarray(trajectory: Trajectory) -> xarray.Dataset:
    """All samples by name against time_s: position_m, velocity_m_s and rates (n, 3), attitudes (n, 4), and roll_deg,
    pitch_deg, yaw_deg (n,); how the run ended as attributes.  Raises InputError without xarray.

    >>> import binarydyn as bd
    >>> run = bd.simulate(bd.build(bd.example()), days=1.0)
    >>> run.to_xarray().sel(axis="x").position_m.shape
    (73,)
    """
    columns: dict[str, tuple] = {
        f"{name}_deg": ("time_s", getattr(trajectory, f"{name}_deg")) for name in ("roll", "pitch", "yaw")
    }
    for name in ("position_m", "velocity_m_s", "attitude1", "rate1_rad_s", "attitude2", "rate2_rad_s"):
        part = "quaternion" if name.startswith("attitude") else "axis"
        columns[name] = (("time_s", part), getattr(trajectory, name))
    table = _dataset(trajectory, "Trajectory.to_xarray", columns)
    table = table.assign_coords(axis=list("xyz"), quaternion=list("wxyz"))
    ends = ("status", "relative_energy_error", "relative_angular_momentum_error")
    return table.assign_attrs({name: value for name in ends if (value := getattr(trajectory, name)) is not None})


def _dataset(trajectory: Trajectory, asked: str, columns: dict) -> xarray.Dataset:
    times = {"time_s": trajectory.time_s, "time_d": ("time_s", trajectory.time_d)}
    return library("xarray", asked).Dataset(columns, times)
