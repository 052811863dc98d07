"""The error budget as bars: first-order and total index of every input, with 95 % of the bootstrap."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from textwrap import fill, shorten
from typing import TYPE_CHECKING, Any

import numpy as np

from ...inference.sensitivity import ErrorBudget
from ...prediction.outcomes import OUTCOMES
from ...scenario.wording import CAUTION
from ..files import save_page
from ..style import AFTER, INK, LATER, MM, PAGE, SMALL
from ..words import label_of, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_HOW = {"prediction": "predicted", "inference": "inferred"}
_BAR, _ROW_MM, _FRAME_MM, _EDGES_MM = 0.38, 9.0, 20.0, 42.0
_LETTERS = 26
"""In a line of an input's name, so that it fits beside the bars."""


def sensitivity_figure(name: str, budgets: Sequence[ErrorBudget]) -> Figure:
    """One panel a budget, inputs from the greatest total index down; 160 mm wide, as high as the inputs need."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    heights = [_ROW_MM * len(budget.indices.names) + _FRAME_MM for budget in budgets]
    whole = sum(heights) + _EDGES_MM
    with rc_context(PAGE):
        figure = Figure(figsize=(160.0 * MM, whole * MM))
        top = whole - 17.0
        for budget, height in zip(budgets, heights, strict=True):
            inner = height - _FRAME_MM
            ax = figure.add_axes((0.34, (top - 8.0 - inner) / whole, 0.62, inner / whole))
            bars(ax, budget)
            top -= height
        figure.axes[-1].set_xlabel("share of the variance")
        handles, names = figure.axes[0].get_legend_handles_labels()
        figure.legend(handles, names, loc="lower left", bbox_to_anchor=(0.33, 11.0 / whole), ncols=2, frameon=False)
        figure.text(0.02, 1.0 - 4.0 / whole, "Whose uncertainty it is", fontsize=11.5, fontweight="bold", va="top")
        subject = (name or "scenario without a name").replace("$", r"\$")
        figure.text(0.02, 1.0 - 10.0 / whole, shorten(subject, 100, placeholder=" .."), fontsize=SMALL, va="top")
        figure.text(0.02, 2.0 / whole, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_sensitivity(path: str | Path, name: str, budgets: Sequence[ErrorBudget]) -> Path:
    """Write it as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, lambda given: sensitivity_figure(*given), (name, budgets))


def bars(ax: Axes, budget: ErrorBudget) -> None:
    """Both indices of each input side by side; whiskers are the 95 % limits."""
    found, order = budget.indices, budget.order()
    place = np.arange(len(order), dtype=float)
    kinds: tuple[tuple[str, Any, float, dict[str, Any]], ...] = (
        ("first order", found.first_order, -0.5 * _BAR, {"color": AFTER.colour}),
        ("total", found.total, 0.5 * _BAR, {"facecolor": "white", "edgecolor": LATER.colour, "hatch": "////"}),
    )
    for label, index, shift, paint in kinds:
        value = index.value[order]
        reach = np.abs(np.array([index.low_95[order], index.high_95[order]]) - value)
        whiskers = {"ecolor": INK, "elinewidth": 0.8, "capsize": 2.0}
        ax.barh(place + shift, value, _BAR, xerr=reach, error_kw=whiskers, label=label, **paint)
    ax.axvline(0.0, color=INK, linewidth=0.6)
    labels = [fill(label_of(found.names[k]).rsplit(", ", 1)[0], _LETTERS) for k in order]
    ax.set_yticks(place, labels, fontsize=SMALL, linespacing=0.95)
    ax.set_ylim(len(order) - 0.4, -0.6)
    ax.set_xlim(
        min(0.0, 1.1 * float(found.first_order.low_95.min())), 1.05 * max(1.0, float(found.total.high_95.max()))
    )
    row, form = OUTCOMES[budget.outcome], budget.form
    title, unit = f"{_HOW[budget.part]} {row.label[0].lower()}{row.label[1:]}", row.unit
    missed = number(100.0 * budget.error_share, ".2g", "%")
    ax.set_title(
        f"{title}: mean {number(budget.mean, form, unit)}, sigma {number(budget.sigma, form.lstrip('+'), unit)}; "
        f"emulator misses {missed}",
        fontsize=9.5,
        loc="right",
    )
