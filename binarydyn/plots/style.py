"""What all figures have in common: ink that survives grey printing, sizes that survive a column of 100 mm.

Nothing is told by colour alone: every curve has its own dashes and marker and is named beside it.  The four colours
differ in lightness as well as in hue, blue against orange, which the common colour-vision deficiencies keep apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MM = 1.0 / 25.4
INK, PALE = "#1a1a1a", "#b8b8b8"


@dataclass(frozen=True)
class Pen:
    """How one kind of curve is drawn everywhere."""

    colour: str
    dashes: Any
    marker: str

    def line(self, width: float = 1.2) -> dict[str, Any]:
        """Arguments of a line without markers."""
        return {"color": self.colour, "linestyle": self.dashes, "linewidth": width}

    def points(self, size: float, hollow: bool = False) -> dict[str, Any]:
        """Arguments of markers without a line."""
        return {
            "color": self.colour,
            "linestyle": "none",
            "marker": self.marker,
            "markersize": size,
            "markerfacecolor": "white" if hollow else self.colour,
            "markeredgewidth": 0.8,
        }


BEFORE = Pen("#7a7a7a", (0, (5, 2)), "o")
AFTER = Pen("#14507d", "solid", "^")
LATER = Pen("#c9731c", (0, (6, 2, 1.5, 2)), "v")
IMPACT = Pen(INK, (0, (1, 1.5)), "X")
ROLL = Pen("#c9731c", (0, (5, 2)), "^")
PITCH = Pen("#6f5a86", (0, (1.2, 1.2)), "s")
YAW = Pen("#14507d", "solid", "o")

PAGE: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.5,
    "axes.titlesize": 10.0,
    "axes.titlelocation": "left",
    "axes.labelsize": 9.5,
    "xtick.labelsize": 9.0,
    "ytick.labelsize": 9.0,
    "xtick.direction": "in",
    "ytick.direction": "in",
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.formatter.useoffset": False,
    "pdf.fonttype": 42,
    "svg.hashsalt": "binarydyn",
}
"""Settings of a whole page, 160 mm wide: printed at 100 mm the text is still 5.6 to 6 points high."""
SMALL = 8.0
"""Size in points of the least important text on a page."""


def mark_impact(ax: Axes, word: str = "impact", at: float = 1.0) -> None:
    """Vertical line and marker at t0, named above the frame; `at` is the height of the marker in the axes."""
    ax.axvline(0.0, **IMPACT.line(1.0), zorder=1.5, label="_impact_line")
    ax.plot([0.0], [at], **IMPACT.points(6.0), transform=ax.get_xaxis_transform(), clip_on=False, zorder=5, label=word)
    ax.annotate(word, (0.0, at), (0, 5), xycoords=ax.get_xaxis_transform(), textcoords="offset points", ha="center")


def name_ends(ax: Axes, ends: list[tuple[float, str, Pen]], gap: float = 0.1) -> None:
    """Names of curves to the right of the axes at the heights (data) where they end, pushed apart to `gap` (axes)."""
    to_axes = ax.transData + ax.transAxes.inverted()
    heights = np.array([to_axes.transform((ax.get_xlim()[1], y))[1] for y, _, _ in ends])
    order = np.argsort(heights)
    spaced = heights[order].clip(0.0, 1.0)
    for i in range(1, len(spaced)):
        spaced[i] = max(spaced[i], spaced[i - 1] + gap)
    spaced -= max(0.0, spaced[-1] - 1.0) if len(spaced) else 0.0
    for height, k in zip(spaced, order, strict=True):
        _, name, pen = ends[k]
        ax.text(1.015, height, name, transform=ax.transAxes, color=pen.colour, va="center", label="curve")


def padded(values) -> tuple[float, float]:
    """Limits of an axis that leave room for the markers at its ends."""
    low, high = float(min(values)), float(max(values))
    pad = 0.025 * (high - low)
    return low - pad, high + pad
