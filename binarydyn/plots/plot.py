"""Panels for a notebook, `binarydyn.plot`: axes of a figure of pyplot, so that they show, or axes that are given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..constants import HOUR_S
from ..kinds import check_kind
from ..motion.trajectory import Trajectory
from ..observables import single_orbit_periods
from . import aim as sights
from .angles import ANGLES, attitude_angles
from .cycles import period_per_cycle
from .mutual_orbit import orbit as orbits
from .outlines import orbital_plane, path
from .pages.sweep import swept_panel
from .seen import SeenSide, seen
from .style import AFTER, PAGE
from .words import label_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ..prediction import Prediction
    from ..store import Members

__all__ = ["aim", "map", "orbit", "periods", "yaw"]


def orbit(thing: Prediction | Trajectory, ax: Axes | None = None) -> Axes:
    """Draw the orbit about the primary, m, along the normal of its plane and to scale.

    thing: a Prediction, or a Trajectory, alone and without the bodies.  ax: where to; None: a new figure.  Returns the
    axes.  KindError for anything else.

    >>> import binarydyn as bd
    >>> run = bd.simulate(bd.build(bd.example()), 1.0)
    >>> bd.plot.orbit(run).get_xlabel()
    'Radial position at the beginning (m)'
    """
    check_kind("plot.orbit", thing, "Prediction", Trajectory)
    ax = _axes(ax)
    if isinstance(thing, Trajectory):
        curve = path(thing, orbital_plane(thing.position_m[0], thing.velocity_m_s[0]))
        ax.plot(*curve, **AFTER.line())
        ax.set(
            aspect="equal",
            xlabel="Radial position at the beginning (m)",
            ylabel="Along-track position at the beginning (m)",
        )
        return ax
    view = seen(thing)
    orbits(ax, view.before.trajectory, view.after.trajectory, view.event)
    ax.legend(fontsize="small")
    return ax


def yaw(thing: Prediction | Trajectory, ax: Axes | None = None) -> Axes:
    """Draw roll, pitch and yaw of the secondary, deg, against days; of a Trajectory the yaw alone.

    ax: where to; None: a new figure.  Returns the axes.  KindError for anything else.
    """
    check_kind("plot.yaw", thing, "Prediction", Trajectory)
    ax = _axes(ax)
    if isinstance(thing, Trajectory):
        ax.plot(thing.time_d, thing.yaw_deg, **ANGLES["yaw"].line())
        ax.set(xlabel="Time since t0 (days)", ylabel="Yaw (deg)")
    else:
        attitude_angles(ax, thing)
    return ax


def periods(thing: Prediction | Trajectory, ax: Axes | None = None) -> Axes:
    """Draw the period of each cycle of the orbit, h, against days.

    ax: where to; None: a new figure.  Returns the axes.  KindError for anything else, FewCyclesError for a short run.
    """
    check_kind("plot.periods", thing, "Prediction", Trajectory)
    ax = _axes(ax)
    if isinstance(thing, Trajectory):
        side = SeenSide(thing, None, single_orbit_periods(thing), None)
        ax.plot(side.cycle_days, side.single_orbit_periods_s / HOUR_S, **AFTER.points(3.0))
        ax.set(xlabel="Time since t0 (days)", ylabel="Single-orbit period (h)")
    else:
        period_per_cycle(ax, thing)
    return ax


def aim(thing: Prediction, ax: Axes | None = None) -> Axes:
    """Draw the secondary as the impactor sees it: slopes, aim, site; aim offsets in m, u to the left.

    ax: where to; None: a new figure.  Returns the axes.  InputError without an impactor, KindError for anything else.
    """
    check_kind("plot.aim", thing, "Prediction")
    view, ax = sights.sight(thing), _axes(ax)
    shades = sights.aim_panel(ax, view)
    ax.figure.colorbar(shades, ax=ax, label="normal of the ground from the flight, deg")
    return ax


def map(thing: Members, ax: Axes | None = None) -> Axes:
    """Draw the period change over the first two keys that vary, or as a line over the only one; others are held at the
    middle one of their values, as the title says.

    ax: where to; None: a new figure.  Returns the axes.  InputError where nothing varies or members are drawn and lie
    on no grid, KindError for anything else.
    """
    check_kind("plot.map", thing, "Members")
    ax = _axes(ax)
    ax.set_title(", ".join(filter(None, (label_of("period_change_s"), swept_panel(ax, thing)[2]))))
    return ax


def _axes(ax: Any) -> Axes:
    """What is given, or the axes of a new figure."""
    if ax is not None:
        return ax
    from matplotlib import pyplot, rc_context

    with rc_context(PAGE):
        return pyplot.subplots(layout="constrained")[1]
