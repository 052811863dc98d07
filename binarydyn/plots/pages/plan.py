"""One page of a planned campaign: the sigma of the period change after each night, and what it has to be below."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...observing.plan import DETECTED, Plan
from ...scenario.wording import CAUTION
from ..files import save_page
from ..style import AFTER, INK, LATER, MM, PAGE, SMALL
from ..words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE_MM = (160.0, 120.0)


def plan_figure(found: Plan) -> Figure:
    """Sigma, s, in a logarithmic scale, against nights after the impact; 160 x 120 mm."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        ax = figure.add_axes((0.12, 0.27, 0.845, 0.55))
        sigmas(ax, found)
        handles, names = ax.get_legend_handles_labels()
        figure.legend(handles, names, loc="lower left", bbox_to_anchor=(0.11, 0.075), ncols=2, frameon=False)
        name = (found.scenario.name or "scenario without a name").replace("$", r"\$")
        figure.text(0.02, 0.98, f"{name}: planned campaign", fontsize=11.5, fontweight="bold", va="top")
        figure.text(0.02, 0.915, _beneath(found), fontsize=SMALL, va="top")
        figure.text(0.02, 0.01, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_plan(path: str | Path, found: Plan) -> Path:
    """Write the page as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, plan_figure, found)


def sigmas(ax: Axes, found: Plan) -> None:
    """Of the period change, s: without losses, and the middle and 68 % over weather and drawn systems."""
    nights = np.array([night.number for night in found.nights])
    low, median, high = np.array([night.sigmas_with_loss_s for night in found.nights]).T
    told = np.isfinite(high)
    ax.fill_between(
        nights[told],
        low[told],
        high[told],
        color=LATER.colour,
        alpha=0.2,
        linewidth=0.0,
        label="with weather loss, 68 %",
    )
    told = np.isfinite(median)
    ax.plot(nights[told], median[told], **LATER.line(1.0), label="with weather loss, median")
    clear = np.array([night.sigma_s for night in found.nights])
    told = np.isfinite(clear)
    ax.plot(nights[told], clear[told], **AFTER.line(1.2), label="no night lost")
    edges = [(found.predicted.size_s / DETECTED, "a third of the predicted change")]
    if found.required:
        edges.append((found.required.size_s / DETECTED, "a third of the required change"))
    if found.measured_to:
        edges.append((found.measured_to.size_s, "required sigma"))
    for value, words in edges:
        ax.axhline(value, color=INK, linewidth=0.6, linestyle=(0, (4, 2)))
        ax.annotate(
            words, (1.0, value), (-2, 2), xycoords=("axes fraction", "data"), textcoords="offset points",
            fontsize=SMALL, ha="right", va="bottom",
        )  # fmt: skip
    ax.set(yscale="log", xlabel="nights after the impact", ylabel="sigma of the period change, s")
    ax.set_xlim(0.0, nights[-1] + 1.0)


def _beneath(found: Plan) -> str:
    campaign, first = found.scenario.campaign, found.predicted.night
    when = f"after night {first}" if first else "in no planned night"
    return (
        f"predicted change {number(found.change_s, '+.1f', 's')}, detected at 3 sigma {when}; "
        f"{found.events_before} events before the impact\n"
        f"mid-times to {campaign.mid_time_sigma_s:g} s and {campaign.night_sigma_s:g} s common to a night, "
        f"nights of {campaign.night_h:g} h, "
        f"{100.0 * campaign.lost_fraction:.0f} % lost"
    )
