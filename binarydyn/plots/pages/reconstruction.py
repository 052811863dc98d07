"""One page of what happened: event times against what the draws foretell, and the draws of what is asked for most."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...constants import DAY_S
from ...reconstruction.answers.shapes import CHANGE
from ...scenario.wording import CAUTION
from ...store.reconstructed import Reconstructed
from ..files import save_page
from ..style import AFTER, BEFORE, INK, MM, PAGE, SMALL, mark_impact
from ..words import label_of, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE_MM = (160.0, 170.0)
_BINS = 20


def reconstruction_figure(found: Reconstructed) -> Figure:
    """Measured times less the median of the draws, with the band of the draws; below, up to three distributions."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(PAGE):
        width, height = _SIZE_MM
        figure = Figure(figsize=(width * MM, height * MM))
        rows = figure.add_gridspec(
            2, 1, height_ratios=(50, 40), left=0.12, right=0.97, top=0.83, bottom=0.17, hspace=0.35
        )
        foretold(figure.add_subplot(rows[0]), found)
        names = _shown(found)
        below = rows[1].subgridspec(1, len(names), wspace=0.25)
        for k, name in enumerate(names):
            distribution(figure.add_subplot(below[k]), found, name)
        title = (found.scenario.name or "scenario without a name").replace("$", r"\$")
        figure.text(0.02, 0.98, f"{title}: what happened", fontsize=11.5, fontweight="bold", va="top")
        figure.text(0.02, 0.945, _beneath(found), fontsize=SMALL, va="top")
        figure.text(0.02, 0.01, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_reconstruction(path: str | Path, found: Reconstructed) -> Path:
    """Write the page as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, reconstruction_figure, found)


def foretold(ax: Axes, found: Reconstructed) -> None:
    """Posterior predictive O-C, s: marks with the errors of the times, bands of the draws without them."""
    times = found.times
    days, median = times["observed_s"] / DAY_S, times["median_s"]
    ax.errorbar(
        days, times["observed_s"] - median, times["sigma_s"], fmt="none", ecolor=AFTER.colour, alpha=0.3, linewidth=0.8
    )
    ax.plot(days, times["observed_s"] - median, **AFTER.points(3.0, hollow=True), label="measured")
    for share, alpha in ((95, 0.2), (68, 0.35)):
        low, high = (times[f"{side}_{share}_s"] - median for side in ("low", "high"))
        ax.fill_between(days, low, high, color=INK, alpha=alpha, linewidth=0.0, label=f"draws, {share} %")
    ax.axhline(0.0, color=INK, linewidth=0.5)
    ax.set(xlabel="Time since impact (days)", ylabel="O-C, s")
    ax.legend(frameon=False, fontsize=SMALL, ncols=3, loc="upper left", bbox_to_anchor=(0.0, -0.17))
    mark_impact(ax)


def distribution(ax: Axes, found: Reconstructed, name: str) -> None:
    """Histogram of a column by weight, with what one Gaussian would say."""
    values = found.columns[name]
    known = np.isfinite(values)
    ax.hist(values[known], _BINS, weights=found.weight[known], density=True, color=AFTER.colour, alpha=0.5)
    own, sigma = found.intervals.get(name), found.fisher_sd.get(name)
    if own and sigma and np.isfinite(sigma):
        x = np.linspace(*ax.get_xlim(), 200)
        height = np.exp(-0.5 * ((x - own["mean"]) / sigma) ** 2) / (sigma * np.sqrt(2.0 * np.pi))
        ax.plot(x, height, **BEFORE.line(), label="if linear")
        ax.legend(frameon=False, fontsize=SMALL)
    ax.set_xlabel(label_of(name), fontsize=SMALL)
    ax.set(yticks=[])
    ax.locator_params(axis="x", nbins=3)


def _shown(found: Reconstructed) -> list[str]:
    wanted = (CHANGE, found.impulse, "eccentricity_after")
    return [name for name in wanted if name and name in found.intervals]


def _beneath(found: Reconstructed) -> str:
    change, s = found.intervals[CHANGE], found.summary
    return (
        f"period change in the window of the data {number(change['mean'], '+.2f')} ± "
        f"{number(change['sigma'], '.2f')} s; {s['events_used']:.0f} events\n"
        f"{number(s['effective_draws'], '.0f')} effective draws, k-hat {number(s['k_hat'], '.2f')}, posterior "
        f"predictive p {number(s['posterior_predictive_p'], '.2f')}\nmarks: measured less the median of the draws"
    )
