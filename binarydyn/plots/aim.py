"""The secondary as the impactor sees it: slopes, aim point with its scatter, site, and where the orbit's axes point."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..dynamics import System
from ..errors import InputError
from ..impact import aim_axes, direction_in_space, orbit_axes
from ..observables.orientation import rotation_matrices
from ..relaxed import build
from ..scenario import Scenario
from ..scenario.wording import CAUTION
from .files import save_page
from .outlines import outline
from .seen import name_of
from .style import INK, LATER, MM, PAGE, SMALL, padded

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_RAYS = 161
_STEPS_DEG = (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0)
_SIZE_MM = (150.0, 142.0)
_ARROWS = ("along-track", "outward from the primary", "orbit normal")


@dataclass(frozen=True)
class ApproachView:
    """What is seen along the flight: plane (2, 3) of the aim axes u, v and flight (3,), both in the secondary's frame;
    orbit_axes (3, 2), along-track, outward and normal as u and v; outline_m (2, n); aim_m and sigma_m (2,); site_m (2,)
    or None."""

    body: Any
    plane: np.ndarray
    flight: np.ndarray
    orbit_axes: np.ndarray
    outline_m: np.ndarray
    aim_m: np.ndarray | None
    sigma_m: np.ndarray
    site_m: np.ndarray | None


def sight(prediction: Any) -> ApproachView:
    """Of a Prediction at t0.  InputError without an impactor."""
    scenario, system = prediction.scenario, prediction.start.system
    plane, flight = _plane(scenario, system)
    axes, impactor = orbit_axes(system.state), scenario.impactor
    to_inertial = rotation_matrices(system.state.attitude2[None, :])[0]
    site = prediction.impact.site
    seen = plane @ to_inertial
    return ApproachView(
        body=system.secondary,
        plane=seen,
        flight=to_inertial.T @ flight,
        orbit_axes=axes @ plane.T,
        outline_m=outline(system.secondary, system.state.attitude2, plane),
        aim_m=None if impactor.site else np.array(impactor.aim_offset_m),
        sigma_m=np.array(impactor.aim_sigma_m),
        site_m=None if site is None else seen @ site.point_m,
    )


def _plane(scenario: Scenario, system: System) -> tuple[np.ndarray, np.ndarray]:
    """(2, 3) the aim's axes u, v, and (3,) the flight, inertial.  InputError without an impactor."""
    if scenario.impactor is None:
        raise InputError("plot-aim", "the scenario has no [impactor], the figure of the aim shows one; add it")
    if scenario.impactor.target != "secondary":
        raise InputError("plot-aim", "the primary is hit, the figure of the aim shows the secondary; leave it out")
    axes = orbit_axes(system.state)
    flight = direction_in_space(scenario.impactor.direction, axes, scenario.mutual_orbit)
    return aim_axes(axes, flight), flight


def outline_seen(scenario: Scenario) -> np.ndarray:
    """(2, n) the secondary's outline at t0 as aim offsets, m, of a scenario with an impactor, which need not hit.

    InputError, ConvergenceError where the system cannot be built.
    """
    system = build(scenario)
    plane, _ = _plane(scenario, system)
    return outline(system.secondary, system.state.attitude2, plane)


def as_seen(ax: Axes, u_m: np.ndarray, v_m: np.ndarray) -> None:
    """Axes of aim offsets as the impactor sees them: u to the left, v up, one scale; room for all (n,) offsets.

    Seen along the flight U with v up, the right is U x v = -u.
    """
    (left, right), (low, high) = padded(u_m), padded(v_m)
    ax.set(xlim=(right, left), ylim=(low, high))
    ax.set_aspect("equal")
    ax.apply_aspect()  # before anything asks which way is up in the figure, as labels of contours do
    ax.set_xlabel("aim offset u, m (seen from the impactor, u to the left)")
    ax.set_ylabel("aim offset v, m")


def aim_figure(prediction: Any) -> Figure:
    """The figure, 150 mm x 142 mm, of a Prediction with an impactor; u grows to the left, as seen from the impactor."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    view = sight(prediction)
    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        ax = figure.add_axes((0.11, 0.18, 0.7, 0.72))
        shades = aim_panel(ax, view)
        bar = figure.colorbar(shades, cax=figure.add_axes((0.85, 0.18, 0.025, 0.5)), ticks=_STEPS_DEG)
        bar.set_label("normal of the ground from the flight, deg")
        figure.text(0.02, 0.985, _headline(prediction), fontsize=10.5, fontweight="bold", va="top")
        figure.text(0.02, 0.01, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def aim_panel(ax: Axes, view: ApproachView) -> Any:
    """The view itself; what a bar of its shades is made from."""
    shades = _slopes(ax, view)
    _marks(ax, view)
    _compass(ax, view)
    corners = _half_width(view) * np.array([-1.0, 1.0])
    as_seen(ax, corners, corners)
    ax.legend(loc="upper left", fontsize=SMALL, frameon=False)
    return shades


def save_aim(path: str | Path, prediction: Any) -> Path:
    """Write the figure as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, aim_figure, prediction)


def _headline(prediction: Any) -> str:
    impact = prediction.impact
    said = impact.status
    if impact.site is not None:
        said += f", {impact.site.incidence_deg:.1f} deg from the normal"
    return f"{name_of(prediction)}, seen from the impactor: {said}"


def _half_width(view: ApproachView) -> float:
    aim = np.zeros(2) if view.aim_m is None else np.abs(view.aim_m)
    return float(max(1.3 * view.body.bounding_radius_m, 1.1 * np.max(aim + 3.0 * view.sigma_m)))


def _slopes(ax: Axes, view: ApproachView) -> Any:
    """Facets of a mesh, the far ones first; elsewhere rays on a grid.  Darker is steeper."""
    from matplotlib import colormaps
    from matplotlib.colors import BoundaryNorm, ListedColormap

    greys = ListedColormap(colormaps["Greys"](np.linspace(0.1, 0.95, len(_STEPS_DEG) - 1)))
    look: dict[str, Any] = {"cmap": greys, "norm": BoundaryNorm(_STEPS_DEG, greys.N)}
    facets = _facets(view.body)
    if facets is None:
        places, slopes = ray_slopes(view)
        return ax.pcolormesh(places, places, slopes, rasterized=True, **look)
    from matplotlib.collections import PolyCollection

    corners = view.body.vertices_m[facets]
    areas = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    cosines = -(areas @ view.flight) / np.linalg.norm(areas, axis=1)
    order = np.argsort(-(corners.mean(axis=1) @ view.flight))
    order = order[cosines[order] > 0.0]
    shown = PolyCollection(corners[order] @ view.plane.T, edgecolors="face", linewidths=0.2, rasterized=True, **look)
    shown.set_array(np.degrees(np.arccos(np.clip(cosines[order], 0.0, 1.0))))
    return ax.add_collection(shown)


def _facets(body: Any) -> np.ndarray | None:
    return getattr(getattr(body, "shape", body), "facets", None)


def ray_slopes(view: ApproachView) -> tuple[np.ndarray, np.ndarray]:
    """Offsets (n,) and slopes (n, n), deg, at rows v and columns u; nan where nothing is hit."""
    size = view.body.bounding_radius_m
    places = np.linspace(-1.02 * size, 1.02 * size, _RAYS)
    slopes = np.full((_RAYS, _RAYS), np.nan)
    for row, v in enumerate(places):
        for column, u in enumerate(places):
            hit = view.body.hit(np.array([u, v]) @ view.plane - 2.0 * size * view.flight, view.flight)
            if hit is not None:
                slopes[row, column] = np.degrees(np.arccos(np.clip(-(hit.normal @ view.flight), 0.0, 1.0)))
    return places, slopes


def _marks(ax: Axes, view: ApproachView) -> None:
    ax.plot(*view.outline_m, color=INK, linewidth=0.8)
    ax.plot([0.0], [0.0], "+", color=INK, markersize=8, label="centre of mass")
    if view.aim_m is not None:
        ax.plot(*view.aim_m[:, None], **LATER.points(7.0, hollow=True), label="aim point")
    angle = np.linspace(0.0, 2.0 * np.pi, 181)
    circle = np.array([np.cos(angle), np.sin(angle)])
    if view.aim_m is not None and view.sigma_m.any():
        for count in (1, 2, 3):
            label = "1, 2, 3 sigma of the aim" if count == 1 else None
            ax.plot(*(view.aim_m[:, None] + count * view.sigma_m[:, None] * circle), **LATER.line(1.0), label=label)
    if view.site_m is not None:
        ax.plot(*view.site_m[:, None], "x", color=LATER.colour, markersize=7, markeredgewidth=1.6, label="site")


def _compass(ax: Axes, view: ApproachView) -> None:
    """The orbit's axes as they lie in the picture, from a corner; what points along the view is left out."""
    corner, length = np.array([0.87, 0.14]), 0.1
    place: dict[str, Any] = {"xycoords": "axes fraction", "textcoords": "axes fraction"}
    for name, (u, v) in zip(_ARROWS, view.orbit_axes, strict=True):
        if np.hypot(u, v) < 0.1:
            continue
        tip = corner + length * np.array([-u, v])
        arrow = {"arrowstyle": "-|>", "color": INK, "linewidth": 1.0, "shrinkA": 0, "shrinkB": 0}
        ax.annotate("", tuple(tip), tuple(corner), **place, arrowprops=arrow)
        side = "right" if u > 0.1 else "left" if u < -0.1 else "center"
        x, y = tip + 0.02 * np.array([-u, v])
        ax.text(x, y, name, transform=ax.transAxes, fontsize=SMALL, ha=side, va="center")
