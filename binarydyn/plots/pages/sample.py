"""One page a sample: how the period change is spread over the drawn members, and which inputs it follows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...errors import InputError
from ...observables.averages import told_intervals
from ...sampling.summary_statistics import which_are_chaotic
from ...scenario.wording import CAUTION
from ...store import Members
from ..files import save_page
from ..seen import name_of
from ..style import MM, PAGE, SMALL
from ..words import label_of, number

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SHOWN = "period_change_s"
_SIZE_MM = (160.0, 136.0)
_INPUTS = 8
_MANY = 2000
"""Members, above which the outermost two of a thousand are not drawn: a few far ones would take all of the axis."""


def check_drawn(count: int, what: str = "members are to be drawn") -> None:
    """InputError for fewer members than a spread takes; of those to be drawn it can be asked before the work."""
    if count < 2:
        raise InputError("plot", f"{count} {what}, 2 are needed; draw more")


def sample_figure(result: Members) -> Figure:
    """Histogram of the period change with its intervals, and the rank correlations with the inputs.

    InputError for fewer than two members that count.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    columns = result.columns
    well = (columns["status"] == "completed") & np.isfinite(columns[_SHOWN])
    chaotic = which_are_chaotic(columns)
    check_drawn(int(well.sum()), "members have a period change")
    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        _histogram(figure.add_axes((0.11, 0.24, 0.46, 0.58)), columns[_SHOWN], well, chaotic)
        _ranks(figure.add_axes((0.80, 0.24, 0.17, 0.58)), columns, result.keys, well)
        figure.text(0.02, 0.975, f"{name_of(result)}: {label_of(_SHOWN)}", fontsize=11.5, fontweight="bold", va="top")
        sentence = _sentence(columns[_SHOWN], well, chaotic)
        figure.text(0.02, 0.92, sentence, fontsize=SMALL, va="top")
        figure.text(0.02, 0.015, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_sample(path: str | Path, result: Members) -> Path:
    """Write the page of drawn members as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, sample_figure, result)


def _histogram(ax, change, well, chaotic) -> None:
    beyond = 0.001 if well.sum() > _MANY else 0.0
    low, high = np.quantile(change[well], [beyond, 1.0 - beyond])
    bins = np.linspace(low, high, int(np.clip(np.sqrt(well.sum()), 5, 60)) + 1)
    ax.hist(change[well], bins, color="0.55", label="all members")
    if chaotic is not None and chaotic.any():
        among = well & chaotic
        ax.hist(change[among], bins, histtype="step", color="C3", hatch="////", label="of these, chaotic")
    marks = told_intervals(change[well])
    for share, alpha in ((95, 0.10), (68, 0.18)):
        if marks[f"low_{share}"] is not None:
            ends = marks[f"low_{share}"], marks[f"high_{share}"]
            ax.axvspan(*ends, color="C0", alpha=alpha, lw=0, label=f"{share} %")
    ax.axvline(marks["median"], color="C0", lw=1.4, label="median")
    ax.set(xlabel=label_of(_SHOWN), ylabel="members")
    ax.locator_params(axis="x", nbins=5)
    ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.16), ncols=3, frameon=False, borderaxespad=0.0)


def _ranks(ax, columns, keys, well) -> None:
    from scipy.stats import spearmanr

    size = {key: float(spearmanr(columns[key][well], columns[_SHOWN][well]).statistic) for key in keys}
    shown = sorted(size, key=lambda key: -abs(size[key]))[:_INPUTS][::-1]
    ax.barh(range(len(shown)), [size[key] for key in shown], color="0.55")
    ax.axvline(0.0, color="0.2", lw=0.8)
    ax.set(xlim=(-1.05, 1.05), xlabel="rank correlation")
    names = [label_of(key).split(",")[0].replace(" ", "\n", 1) for key in shown]
    ax.set_yticks(range(len(shown)), names, fontsize=SMALL)


def _sentence(change, well, chaotic) -> str:
    marks = told_intervals(change[well])
    text = f"median {number(marks['median'], '+.1f', 's')}"
    for share in (68, 95):
        if marks[f"low_{share}"] is not None:
            low, high = number(marks[f"low_{share}"], "+.1f"), number(marks[f"high_{share}"], "+.1f", "s")
            text += f", {share} % {low} to {high}"
    looked = "not looked at for stability" if chaotic is None else f"{chaotic.sum()} of them chaotic"
    return f"{text}\n{well.sum()} of {len(well)} members have a period change; {looked}"
