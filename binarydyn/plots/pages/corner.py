"""Corner figure of a posterior: each quantity alone, and each two together."""

from __future__ import annotations

from pathlib import Path
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import numpy as np

from ...inference.posterior import Posterior
from ...scenario.wording import CAUTION
from ..files import save_page
from ..style import AFTER, MM, PAGE, SMALL
from ..words import label_of, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SHOWN_DRAWS = 3000
_MARGIN = 0.03
"""Of a quantity's range, left free on either side of it in all panels."""


def corner_figure(posterior: Posterior) -> Figure:
    """Velocity change, density of the secondary and beta (where there is one): histograms with 68 %, and scatter of the
    draws.

    A quantity has the same range in its histogram and wherever it is scattered, that of all draws that count.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    columns = _columns(posterior)
    names, size = list(columns), len(columns)
    with rc_context(PAGE):
        figure = Figure(figsize=(160.0 * MM, 160.0 * MM))
        axes = figure.subplots(size, size, squeeze=False)
        for i, row in enumerate(names):
            for j, column in enumerate(names):
                ax = axes[i][j]
                if j > i:
                    ax.set_axis_off()
                    continue
                if i == j:
                    _histogram(ax, row, columns[row])
                else:
                    ax.plot(*(columns[name][:_SHOWN_DRAWS] for name in (column, row)), ".", label="one draw", **_DOTS)
                    ax.set_ylim(*_range(columns[row]))
                ax.set_xlim(*_range(columns[column]))
                ax.locator_params(axis="x", nbins=4, prune="both")
                ax.tick_params(labelsize=SMALL, labelbottom=i == size - 1, labelleft=j == 0)
                if i == size - 1:
                    ax.set_xlabel(column)
                if j == 0 and i > 0:
                    ax.set_ylabel(row)
        subject = shorten(posterior.scenario.name or "scenario", 60, placeholder=" ..").replace("$", r"\$")
        change = number(posterior.change_s, "+.1f", "s")
        figure.suptitle(f"{subject}: velocity change and beta from {change}", fontsize=10.5)
        handles = {word: line for ax in axes.flat for line, word in zip(*ax.get_legend_handles_labels(), strict=True)}
        place: dict[str, Any] = {"loc": "upper center", "bbox_to_anchor": (0.5, 0.96), "ncols": len(handles)}
        figure.legend(list(handles.values()), list(handles), fontsize=SMALL, frameon=False, markerscale=5.0, **place)
        figure.text(0.02, 0.01, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
        figure.subplots_adjust(left=0.13, right=0.97, top=0.885, bottom=0.15, hspace=0.2, wspace=0.22)
    return figure


_DOTS: dict[str, Any] = {"color": AFTER.colour, "markersize": 1.2, "alpha": 0.4, "rasterized": True}


def _columns(posterior: Posterior) -> dict[str, np.ndarray]:
    """What varies over the draws that count, by the words of its axis."""
    well = posterior.well
    columns = {
        label_of("along_track_dv_mm_s"): posterior.dv_mm_s[well],
        label_of("secondary_density_kg_m3"): posterior.density_kg_m3[well],
    }
    if posterior.has_beta:
        columns[label_of("beta")] = posterior.beta[well]
    return {name: x for name, x in columns.items() if np.ptp(x) > 1e-9 * np.abs(x).max()}


def _histogram(ax: Axes, name: str, x: np.ndarray) -> None:
    """Of one quantity, whose name stands above it; its height has no unit."""
    ax.hist(x, 50, color="0.6")
    low, middle, high = np.quantile(x, [0.16, 0.5, 0.84])
    line: dict[str, Any] = {"color": AFTER.colour, "linewidth": 1.0}
    ax.axvline(middle, linestyle="-", label="median", **line)
    ax.axvline(low, linestyle="--", label="68 % of the draws lie between", **line)
    ax.axvline(high, linestyle="--", **line)
    ax.set_yticks([])
    ax.set_title(name, fontsize=SMALL, loc="center", pad=3.0)


def _range(x: np.ndarray) -> tuple[float, float]:
    """Limits of an axis that shows all of it."""
    low, high = float(x.min()), float(x.max())
    free = _MARGIN * (high - low)
    return low - free, high + free


def save_corner(path: str | Path, posterior: Posterior) -> Path:
    """Write it as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, corner_figure, posterior)
