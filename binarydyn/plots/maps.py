"""What a sweep found: contours over two swept keys, or a line over one; members that failed are crossed out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import InputError
from .aim import as_seen
from .style import AFTER, IMPACT, INK, LATER, SMALL, padded
from .words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.path import Path

_LEVELS = 9
_LABELLED = 0.2
"""Extent of a piece of a contour, in parts of the axes, from which it is labelled."""
_APART = 0.07
"""Least distance of two labels, in parts of the axes."""
_MANY = 2500
"""Members or failures, from which they are shown as areas in place of marks: a million marks are one black square."""
_MOST_CELLS = 120
"""On each axis of a map; of more values neighbours are averaged."""
_HATCH: dict[str, Any] = {"facecolor": "none", "edgecolor": "#9a9a9a", "hatch": "////", "linewidth": 0.0, "zorder": 0.3}
_DOTS = _HATCH | {"edgecolor": LATER.colour, "hatch": "....", "zorder": 0.7}
_EDGE = 0.055
"""Least distance of the middle of a label from the edge of the shaded area, in parts of the axes: half its length."""


def sweep_map(
    ax: Axes,
    x: np.ndarray,
    y: np.ndarray,
    z: np.ndarray,
    labels: tuple[str, str, str],
    chaotic: np.ndarray | None = None,
    outline: np.ndarray | None = None,
) -> None:
    """Labelled contours of z over a grid of x and y, all (n,), one element a member in any order; labels with units.

    outline (2, m): of what is aimed at, for a map of aim offsets: it is drawn as the impactor sees it (aim.as_seen).
    z is nan where a member failed: such members are crossed and their cells hatched; members not yet done leave a gap.
    chaotic: (n,) which members are ringed, or None where that is not known; of very many their area is dotted.
    InputError where x or y has fewer than two values.
    """
    x, y, z = (np.asarray(values, dtype=float) for values in (x, y, z))
    total = int(np.sum(~np.isfinite(z)))
    chaotic = np.zeros(len(z), dtype=bool) if chaotic is None else np.asarray(chaotic, dtype=bool)
    ringed, count = (x[chaotic], y[chaotic]), int(chaotic.sum())
    if len(z) > _MOST_CELLS**2:
        chaotic = _coarse(x, y, chaotic.astype(float))[2] > 0.5
        x, y, z = _coarse(x, y, z)
    (columns, i), (rows, j) = (np.unique(values, return_inverse=True) for values in (x, y))
    if min(len(columns), len(rows)) < 2:
        raise InputError("sweep map", f"{len(columns)} by {len(rows)} values are given, 2 by 2 are needed; draw a line")
    table = np.full((len(rows), len(columns)), np.nan)
    table[j, i] = z
    failed = ~np.isfinite(z)
    ax.set(xlabel=labels[0], ylabel=labels[1], xlim=padded(columns), ylim=padded(rows))
    if outline is not None:
        as_seen(ax, *(np.append(side, edge) for side, edge in zip((columns, rows), outline, strict=True)))
        if outline.size:
            ax.plot(*outline, color=INK, linewidth=1.2, zorder=2, label="outline")
    ax.set_title(labels[2], loc="left")
    if failed.sum() < _MANY:
        for k in np.flatnonzero(failed):
            ax.fill_between(_around(columns, i[k]), *_around(rows, j[k]), **_HATCH, label="_failed cell")
    else:
        _area(ax, columns, rows, (i[failed], j[failed]), _HATCH | {"label": f"failed ({total})"})
    if count >= _MANY:
        _area(ax, columns, rows, (i[chaotic], j[chaotic]), _DOTS | {"label": f"chaotic ({count})"})
    elif count:
        ax.plot(*ringed, **_ring(), label=f"chaotic ({count})")
    _contours(ax, columns, rows, np.ma.masked_invalid(table))
    if len(z) < _MANY:
        ax.plot(x[~failed], y[~failed], color=INK, linestyle="none", marker=".", markersize=2.0, label="member")
    if 0 < failed.sum() < _MANY:
        ax.plot(x[failed], y[failed], **_cross(), label=f"failed ({total})")


def sweep_line(
    ax: Axes, x: np.ndarray, z: np.ndarray, labels: tuple[str, str], chaotic: np.ndarray | None = None
) -> None:
    """z (n,) over one swept key x (n,), labels with units; members that failed (nan) are crossed on the lower edge.

    chaotic: (n,) which members are ringed, or None where that is not known.
    """
    order = np.argsort(x)
    chaotic = np.zeros(len(z), dtype=bool) if chaotic is None else np.asarray(chaotic, dtype=bool)[order]
    x, z = np.asarray(x, dtype=float)[order], np.asarray(z, dtype=float)[order]
    failed = ~np.isfinite(z)
    marks: dict[str, Any] = {"marker": AFTER.marker, "markersize": 4.0} if len(z) < _MANY else {"rasterized": True}
    ax.plot(x, z, **AFTER.line(), **marks, label="member")
    if chaotic.any():
        ax.plot(x[chaotic], z[chaotic], **_ring(), rasterized=len(z) >= _MANY, label=f"chaotic ({chaotic.sum()})")
    ax.set(xlabel=labels[0], ylabel=labels[1], xlim=padded(x))
    low = ax.get_xaxis_transform()
    if failed.sum() < _MANY:
        for k in np.flatnonzero(failed):
            ax.axvspan(*_around(x, int(k)), **_HATCH, label="_failed cell")
    else:
        area = _HATCH | {"label": f"failed ({failed.sum()})"}
        ax.fill_between(x, 0.0, 1.0, where=failed, transform=low, rasterized=True, **area)
    if 0 < failed.sum() < _MANY:
        ax.plot(x[failed], 0.04 + 0.0 * x[failed], **_cross(), transform=low, label=f"failed ({failed.sum()})")


def _coarse(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means over neighbouring values of x and y; nan where most of the members of a cell failed."""
    (x, i), (y, j) = (_grouped(values) for values in (x, y))
    cell, is_good = j * _MOST_CELLS + i, np.isfinite(z)
    size = [np.bincount(cell[which], minlength=_MOST_CELLS**2) for which in (slice(None), is_good)]
    with np.errstate(invalid="ignore"):
        mean = np.bincount(cell[is_good], z[is_good], _MOST_CELLS**2) / size[1]
    there = np.flatnonzero(size[0])
    mean = np.where(2 * size[1][there] > size[0][there], mean[there], np.nan)
    return x[there % _MOST_CELLS], y[there // _MOST_CELLS], mean


def _grouped(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Means of the groups of neighbours that share a cell, and the group of each value."""
    found, place = np.unique(values, return_inverse=True)
    group = np.arange(len(found)) * min(_MOST_CELLS, len(found)) // len(found)
    with np.errstate(invalid="ignore"):
        mean = np.bincount(group, found, _MOST_CELLS) / np.bincount(group, minlength=_MOST_CELLS)
    return mean, group[place]


def _area(ax: Axes, columns: np.ndarray, rows: np.ndarray, places: tuple, style: dict) -> None:
    """Very many cells, hatched as one area."""
    from matplotlib.patches import Rectangle

    table = np.zeros((len(rows), len(columns)))
    table[places[1], places[0]] = 1.0
    area = ax.contourf(
        columns, rows, table, [0.5, 1.5], colors="none", hatches=[style["hatch"]], zorder=style["zorder"]
    )
    area.set_edgecolor(style["edgecolor"])
    area.set_linewidth(style["linewidth"])
    ax.add_patch(Rectangle((columns[0], rows[0]), 0.0, 0.0, **style))  # for the legend


def _contours(ax: Axes, columns: np.ndarray, rows: np.ndarray, table: np.ma.MaskedArray) -> None:
    """Shades, paler where little changes, and labelled lines; nothing where no level lies between the values."""
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.ticker import MaxNLocator

    if table.count() < 3 or np.ptp(table.compressed()) == 0.0:
        return
    levels = MaxNLocator(_LEVELS).tick_values(table.min(), table.max())
    pale = LinearSegmentedColormap.from_list("pale", ["#fbf8f0", "#c5d6df", "#7fa6bf"])
    strong_below = abs(table.min()) > abs(table.max())
    ax.contourf(columns, rows, table, levels, cmap=pale.reversed() if strong_below else pale, zorder=0.5)
    lines = ax.contour(columns, rows, table, levels, colors=INK, linewidths=0.8, linestyles="solid", zorder=1.0)
    fmt: dict[str, Any] = {"fmt": lambda value: number(value, "g"), "inline_spacing": 3, "fontsize": SMALL}
    ax.clabel(lines, manual=_middles(ax, lines.get_paths(), (columns, rows)), **fmt)


def _middles(ax: Axes, paths: Sequence[Path], sides: tuple[np.ndarray, np.ndarray]) -> list[np.ndarray]:
    """Where to label contours: in the middle of pieces long enough to carry a number and not too near to another label
    or to the edge of the area.
    """
    spans = np.array([np.ptp(ax.get_xlim()), np.ptp(ax.get_ylim())])
    low, high = (np.array([side[k] for side in sides]) for k in (0, -1))
    pieces = [piece for path in paths for piece in path.to_polygons(closed_only=False)]
    places: list[np.ndarray] = []
    for piece in sorted(pieces, key=lambda piece: -np.hypot(*(np.ptp(piece, axis=0) / spans))):
        middle = _halfway(piece, spans)
        long = np.hypot(*(np.ptp(piece, axis=0) / spans)) > _LABELLED
        inside = (np.minimum(middle - low, high - middle) / spans).min() > _EDGE
        if long and inside and all(np.hypot(*((middle - place) / spans)) > _APART for place in places):
            places.append(middle)
    return places


def _halfway(piece: Any, spans: np.ndarray) -> np.ndarray:
    """(2,) the point of a line (n, 2) with half of its length, as it is drawn, on either side."""
    along = np.append(0.0, np.cumsum(np.hypot(*(np.diff(piece, axis=0) / spans).T)))
    return np.array([np.interp(0.5 * along[-1], along, piece[:, k]) for k in (0, 1)])


def _around(values: np.ndarray, k: int) -> np.ndarray:
    """(2,) from the neighbour before to the one after the k-th of ascending values: what is not known if it failed."""
    return values[[max(k - 1, 0), min(k + 1, len(values) - 1)]]


def _ring() -> dict:
    return {
        "color": LATER.colour,
        "linestyle": "none",
        "marker": "o",
        "markersize": 8.0,
        "markerfacecolor": "none",
        "markeredgewidth": 1.2,
        "zorder": 3,
    }


def _cross() -> dict:
    return IMPACT.points(6.0) | {"marker": "x", "markeredgewidth": 1.5, "zorder": 4}
