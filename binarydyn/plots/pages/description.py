"""One page a description: the system to scale, and how far around it what holds, on a scale of powers of ten."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...prediction.description import Description
from ...scenario.wording import CAUTION
from ..files import save_page
from ..mutual_orbit import FACES
from ..outlines import orbital_plane, outline
from ..style import AFTER, BEFORE, INK, LATER, MM, PAGE, PITCH, SMALL

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE_MM = (160.0, 122.0)
_MARGIN = 1.12


def description_figure(described: Description) -> Figure:
    """The system seen along the orbit normal, to scale, above a ruler of all radii that matter; 160 mm wide."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        pair = figure.add_axes((0.15, 0.2, 0.41, 0.56))
        ruler = figure.add_axes((0.61, 0.2, 0.36, 0.7))
        pair_to_scale(pair, described)
        radii_ruler(ruler, described)
        name = (described.scenario.name or "scenario without a name").replace("$", r"\$")
        figure.text(0.02, 0.98, f"{name}: the system and its surroundings", fontsize=11.5, fontweight="bold", va="top")
        figure.text(0.02, 0.012, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_description(path: str | Path, described: Description) -> Path:
    """Write the page as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, description_figure, described)


def pair_to_scale(ax: Axes, described: Description) -> None:
    """Both bodies at t0, the mutual orbit, the primary's synchronous radius and the secondary's room, m, to scale."""
    system, state = described.start.system, described.start.system.state
    plane = orbital_plane(state.position_m, state.velocity_m_s)
    separation = described.start.separation_m
    reach = _MARGIN * (separation + described.grounds[1].room_m)
    ax.set(aspect="equal", xlim=(-reach, reach), ylim=(-reach, reach))
    ax.set(xlabel="along r at t0, m", ylabel="along the motion at t0, m")
    centre = plane @ state.position_m
    for name, body, attitude, place in (
        ("primary", system.primary, state.attitude1, np.zeros(2)),
        ("secondary", system.secondary, state.attitude2, centre),
    ):
        shape = outline(body, attitude, plane) + place[:, None]
        ax.fill(*shape, facecolor=FACES[name], edgecolor=INK, linewidth=0.8, zorder=2, label=name)
    ax.text(0.0, 0.0, "primary", ha="center", va="center", zorder=4)
    _circle(ax, np.zeros(2), separation, BEFORE.line(1.2), "mutual orbit")
    synchronous = described.grounds[0]
    if not synchronous.synchronous_says:
        _circle(ax, np.zeros(2), synchronous.synchronous_radius_m, LATER.line(1.1), "synchronous with primary")
    _circle(ax, centre, described.grounds[1].room_m, PITCH.line(1.1), "the secondary's room")
    ax.legend(loc="lower center", bbox_to_anchor=(0.45, 1.0), ncols=2, frameon=False, fontsize=SMALL, handlelength=2.4)


def _circle(ax: Axes, centre: np.ndarray, radius: float, line: dict, name: str) -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 361)
    ax.plot(centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), **line, zorder=3, label=name)


def radii(described: Description) -> list[tuple[str, float]]:
    """Names and sizes, m, of all radii that are known, smallest first; distances from the centre of what they name."""
    found = [
        ("secondary, mean radius", described.shapes[1].radius_m),
        ("primary, mean radius", described.shapes[0].radius_m),
    ]
    if not described.grounds[0].synchronous_says:
        found.append(("synchronous with primary", described.grounds[0].synchronous_radius_m))
    found += [("secondary's room", described.grounds[1].room_m), ("separation", described.start.separation_m)]
    found.append(("closest approach of the pass", described.flyby.pericentre_m))
    for place in described.sunlit:
        if place.where in ("perihelion", "aphelion"):
            found.append((f"terminator orbit safe, {place.where}", place.terminator_safe_m))
            found.append((f"Hill radius, {place.where}", place.hill_radius_m))
    if described.sphere_of_influence_m:
        found.append(("sphere of influence", described.sphere_of_influence_m))
    return sorted(found, key=lambda row: row[1])


def radii_ruler(ax: Axes, described: Description) -> None:
    """The radii as lengths on a scale of powers of ten, each with its name and its value."""
    rows = radii(described)
    sizes = np.array([size for _, size in rows])
    low, high = 0.3 * sizes.min(), 1.6 * sizes.max()
    ax.set_xscale("log")
    ax.set(xlim=(low, high), ylim=(-0.6, len(rows) - 0.2), yticks=[], xlabel="radius, m")
    ax.spines["left"].set_visible(False)
    for height, (name, size) in enumerate(rows):
        ax.plot([low, size], [height, height], **AFTER.line(1.0), zorder=2, label=f"_{name}")
        ax.plot([size], [height], **AFTER.points(4.5), zorder=3, label="_end")
        ax.text(low * 1.08, height + 0.14, f"{name}: {_length(size)}", fontsize=SMALL, va="bottom")
    if not described.sunlit:
        ax.set_title("without [heliocentric_orbit]: no Hill radius", fontsize=SMALL)


def _length(metres: float) -> str:
    return f"{metres:.4g} m" if metres < 1e4 else f"{metres / 1e3:.4g} km"
