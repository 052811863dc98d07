"""The mutual orbit before and after the impact, seen along the orbit normal and to scale."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..motion.layout import ATTITUDE1, ATTITUDE2
from ..motion.trajectory import Trajectory
from .outlines import laps, orbital_plane, outline, path, pericentres
from .style import AFTER, BEFORE, IMPACT, INK, LATER, PALE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FACES = {"primary": "#e4e4e4", "secondary": "#c4c4c4"}
_ROUND = 2e-3
"""(r_max - r_min)/(r_max + r_min) of a lap below which its pericentre cannot be seen in a drawing to scale."""
_PERICENTRES_SHOWN = 13
_WIDEST = 2.5
"""Greatest distance shown after the impact, in those before."""
_SMALL = 0.25
"""Radius of the primary, in half widths of the frame, below which its name stands under it."""


def orbit(ax: Axes, before: Trajectory, after: Trajectory, word: str = "impact") -> None:
    """Orbit of the secondary about the primary, m, in the orbital plane at t0; x towards the secondary at t0.

    Thin: all laps after, which fill a ring where the pericentre turns.  Thick: the last lap before, the first and the
    last after.  Pericentres of evenly chosen laps are marked.  Bodies are drawn where the trajectory names them
    (`system`).
    """
    from matplotlib.ticker import MaxNLocator

    plane = orbital_plane(before.position_m[-1], before.velocity_m_s[-1])
    old, new = path(before, plane), path(after, plane)
    reach = _reach(before, old, new)
    ticks = [tick for tick in MaxNLocator(5).tick_values(-reach, reach) if abs(tick) < reach]
    ax.set(aspect="equal", xlim=(-reach, reach), ylim=(-reach, reach), xticks=ticks, yticks=ticks)
    ax.set(xlabel="Radial position at t0 (m)", ylabel="Along-track position at t0 (m)")
    _bodies(ax, before, plane)
    ax.plot(*new, color=AFTER.colour, linewidth=0.25, alpha=0.35, zorder=2, label="_all laps after")
    turned_before, turned = laps(old), laps(new)
    ax.plot(*old[:, turned_before >= turned_before[-1] - 1.0], **BEFORE.line(1.4), zorder=3, label="Last orbit before")
    ax.plot(*new[:, turned <= 1.0], **AFTER.line(1.2), zorder=3.2, label="First orbit after")
    if turned[-1] >= 3.0:
        ax.plot(*new[:, turned >= turned[-1] - 1.0], **LATER.line(1.2), zorder=3.1, label="Last orbit after")
    _mark_pericentres(ax, new)
    ax.plot(*old[:, -1:], **IMPACT.points(7.0), zorder=6, label=word)
    if after.status != "completed":
        inside = new[:, np.abs(new).max(axis=0) < reach]
        left = "" if inside.shape == new.shape else ", outside the frame"
        end: dict[str, Any] = {"marker": "*", "markersize": 9.0, "linestyle": "none", "color": INK, "clip_on": False}
        ax.plot(*inside[:, -1:], **end, zorder=5, label=after.status.replace("_", " ") + left)


def _reach(before: Trajectory, old: np.ndarray, new: np.ndarray) -> float:
    """Half the width of the frame, m: all of both orbits and the secondary; not all of an escape."""
    system = getattr(before, "system", None)
    body = system.secondary.bounding_radius_m if system else 0.0
    return 1.04 * (max(np.abs(old).max(), min(np.abs(new).max(), _WIDEST * np.abs(old).max())) + body)


def _bodies(ax: Axes, before: Trajectory, plane: np.ndarray) -> None:
    system = getattr(before, "system", None)
    if system is None:
        return
    ends = {
        "primary": (system.primary, before.y[-1, ATTITUDE1], np.zeros(2)),
        "secondary": (system.secondary, before.y[-1, ATTITUDE2], plane @ before.position_m[-1]),
    }
    for name, (body, attitude, centre) in ends.items():
        shape = outline(body, attitude, plane) + centre[:, None]
        ax.fill(*shape, facecolor=FACES[name], edgecolor=INK, linewidth=0.8, zorder=2.5, label=f"_{name}")
    radius = system.primary.bounding_radius_m
    small = radius < _SMALL * ax.get_xlim()[1]
    ax.text(0.0, -1.1 * radius if small else 0.0, "primary", ha="center", va="top" if small else "center", zorder=4)


def _mark_pericentres(ax: Axes, curve: np.ndarray) -> None:
    """Markers at some pericentres, filled at the first and the last, which are joined with the primary's centre."""
    places = pericentres(curve)
    if len(places) < 2 or _roundness(curve) < _ROUND:
        return
    shown = places[np.unique(np.linspace(0, len(places) - 1, _PERICENTRES_SHOWN).round().astype(int))]
    ax.plot(*curve[:, shown[1:-1]], **AFTER.points(3.5, hollow=True), zorder=4.0, label="Intermediate pericentres")
    for place, pen, which in ((shown[0], AFTER, "first"), (shown[-1], LATER, "last")):
        x, y = curve[:, place]
        ax.plot([0.0, x], [0.0, y], color=PALE, linewidth=0.7, zorder=2.2, label="_apsidal line")
        ax.plot([x], [y], **pen.points(5.5), zorder=4.2, label=f"{which.capitalize()} pericentre")


def _roundness(curve: np.ndarray) -> float:
    first = np.hypot(*curve[:, laps(curve) <= 1.0])
    return float((first.max() - first.min()) / (first.max() + first.min()))
