"""One page of what happened: event times and light against what the draws foretell, and draws of what is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...constants import DAY_S, HOUR_S
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
_CUT_S, _GAP_S = 3.0 * HOUR_S, 1.0 * HOUR_S
"""Longer gaps between points of light are cut, and so much is left of them."""


def reconstruction_figure(found: Reconstructed) -> Figure:
    """Measured times less the median of the draws, and light, with the bands of the draws; below, up to three
    distributions."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(PAGE):
        width, height = _SIZE_MM
        figure = Figure(figsize=(width * MM, height * MM))
        rows = figure.add_gridspec(
            2, 1, height_ratios=(50, 40), left=0.12, right=0.97, top=0.83, bottom=0.17, hspace=0.35
        )
        panels = [draw for draw, data in ((foretold, found.times), (shone, found.light)) if _held(data)]
        above = rows[0].subgridspec(len(panels), 1, hspace=0.9)
        for k, draw in enumerate(panels):
            draw(figure.add_subplot(above[k]), found)
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


def _held(data: Mapping[str, np.ndarray]) -> int:
    return len(next(iter(data.values()), ()))


def shone(ax: Axes, found: Reconstructed) -> None:
    """Posterior predictive light curve, mag: marks, and the median and band of the draws; nights side by side."""
    light = found.light
    order = np.argsort(light["time_s"], kind="stable")
    time = light["time_s"][order]
    gaps = np.diff(time, prepend=time[0])
    hours = np.cumsum(np.where(gaps > _CUT_S, _GAP_S, gaps)) / HOUR_S
    ax.plot(hours, light["magnitude_mag"][order], ".", color=AFTER.colour, markersize=1.5, alpha=0.5, label="measured")
    for night in np.split(np.arange(len(time)), np.flatnonzero(gaps > _CUT_S)):
        low, middle, high = (light[f"{name}_mag"][order][night] for name in ("low_95", "median", "high_95"))
        ax.fill_between(hours[night], low, high, color=INK, alpha=0.3, linewidth=0.0)
        ax.plot(hours[night], middle, color=INK, linewidth=0.6)
    ax.invert_yaxis()
    ax.set(xlabel="Hours of the nights, side by side", ylabel="Magnitude, mag")


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


def _data(found: Reconstructed) -> str:
    s = found.summary
    parts = [f"{s['events_used']:.0f} events"] if s["events_used"] else []
    return " and ".join([*parts, f"{s['points']:.0f} points of light"] if "points" in s else parts)


def _beneath(found: Reconstructed) -> str:
    change, s = found.intervals[CHANGE], found.summary
    return (
        f"period change in the window of the data {number(change['mean'], '+.2f')} ± "
        f"{number(change['sigma'], '.2f')} s; {_data(found)}\n"
        f"{number(s['effective_draws'], '.0f')} effective draws, k-hat {number(s['k_hat'], '.2f')}, posterior "
        f"predictive p {number(s['posterior_predictive_p'], '.2f')}\nmarks: measured less the median of the draws"
    )
