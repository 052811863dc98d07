"""Corner figure of a posterior: each quantity alone, and each two together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..assessment.posterior import Posterior
from ..scenario.wording import CAUTION
from .files import save_page
from .style import AFTER, MM, PAGE, SMALL

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SHOWN_DRAWS = 3000


def corner_figure(posterior: Posterior) -> Figure:
    """Push, density of the moonlet and beta (where there is one): histograms with 68 %, and scatter of the draws."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    well = posterior.well
    columns = {"along-track push, mm/s": posterior.dv_mm_s[well], "density, kg/m3": posterior.density_kg_m3[well]}
    if posterior.has_beta:
        columns["beta"] = posterior.beta[well]
    columns = {name: x for name, x in columns.items() if np.ptp(x) > 1e-9 * np.abs(x).max()}
    names, size = list(columns), len(columns)
    with rc_context(PAGE):
        figure = Figure(figsize=(160.0 * MM, 160.0 * MM))
        axes = figure.subplots(size, size, squeeze=False)
        for i, row in enumerate(names):
            for j, column in enumerate(names):
                ax = axes[i][j]
                if j > i:
                    ax.set_axis_off()
                elif i == j:
                    ax.hist(columns[row], 50, color="0.6")
                    for mark, dashes in zip(
                        np.quantile(columns[row], [0.16, 0.5, 0.84]), ("--", "-", "--"), strict=True
                    ):
                        ax.axvline(mark, color=AFTER.colour, linestyle=dashes, linewidth=1.0)
                    ax.set_yticks([])
                else:
                    x, y = columns[column][:_SHOWN_DRAWS], columns[row][:_SHOWN_DRAWS]
                    ax.plot(x, y, ".", color=AFTER.colour, markersize=1.2, alpha=0.4, rasterized=True)
                if i == size - 1:
                    ax.set_xlabel(column)
                if j == 0 and i > 0:
                    ax.set_ylabel(row)
                ax.tick_params(labelsize=SMALL)
        figure.suptitle(f"{posterior.scenario.name}: push and beta from {posterior.change_s:+.1f} s", fontsize=10.5)
        figure.text(0.02, 0.01, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
        figure.subplots_adjust(left=0.12, right=0.98, top=0.93, bottom=0.15, hspace=0.15, wspace=0.3)
    return figure


def save_corner(path: str | Path, posterior: Posterior) -> Path:
    """Write it as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, corner_figure, posterior)
