"""One page a sweep: the period change over the swept keys, what became of the members, what is held, the caution."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

from ...errors import ConvergenceError, InputError
from ...kinds import check_kind
from ...sampling.summary_statistics import which_are_chaotic
from ...scenario import Scenario, varied
from ...scenario.wording import CAUTION
from ...store import Members
from ..aim import outline_seen
from ..files import save_page
from ..maps import sweep_line, sweep_map
from ..seen import name_of
from ..style import MM, PAGE, SMALL
from ..words import axis_unit, label_of, number
from .sample import sample_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_OFFSETS = ("impactor.aim_offset_m.0", "impactor.aim_offset_m.1")
_SHOWN, _UNSTABLE = "period_change_s", "chaotic_after"
_WIDTH = 105
"""Characters of a line of the least important text that fit into the page."""
_SIZE_MM = (160.0, 136.0)


def sweep_figure(result: Members) -> Figure:
    """Map of the period change over the first two swept keys that take several values, or a line over the only one;
    160 mm x 136 mm; for drawn members the page of sample_page.py.

    Both components of the aim offset are drawn as the impactor sees them, with the secondary's outline.  Further keys
    are held at the middle one of their values, and the page says so.

    InputError for anything but Members, or if no key takes several values.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    check_kind("plot", result, "Members")
    if result.sample:
        return sample_figure(result)
    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        ax = figure.add_axes((0.13, 0.235, 0.83, 0.615))
        status, measured, held = swept_panel(ax, result)
        if ax.get_legend_handles_labels()[1]:
            ax.legend(loc="upper right", bbox_to_anchor=(1.0, -0.11), ncols=3, frameon=False, borderaxespad=0.0)
        title = f"{name_of(result)}: {label_of(_SHOWN)}"
        figure.text(0.02, 0.975, title, fontsize=11.5, fontweight="bold", va="top")
        said = "; ".join([_range(measured), _outcomes(status)])
        figure.text(0.02, 0.92, fill(said, _WIDTH), fontsize=SMALL, va="top")
        figure.text(0.02, 0.09, held, fontsize=SMALL, va="bottom")
        figure.text(0.02, 0.015, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def swept_panel(ax: Axes, result: Members) -> tuple[np.ndarray, np.ndarray, str]:
    """The map or the line itself; status and period change, nan where it failed, of the members in it (n,), and the
    sentence on what is held.  InputError if no key takes several values.
    """
    keys, columns = result.keys, result.columns
    varying = [key for key in keys if len(np.unique(columns[key])) > 1]
    if not varying:
        raise InputError("plot", f"a sweep of {len(columns['status'])} member is given, 2 are needed; vary a key")
    chaotic = which_are_chaotic(columns)
    shown = {name: columns[name] for name in (*keys, "status", _SHOWN)}
    if chaotic is not None:
        shown[_UNSTABLE] = chaotic
    columns, held = _held(shown, varying[2:])
    marked = columns.get(_UNSTABLE)
    measured = np.where(columns["status"] == "completed", columns[_SHOWN], np.nan).astype(float)
    if set(varying[:2]) == set(_OFFSETS):
        u, v = (columns[key] for key in _OFFSETS)
        sweep_map(ax, u, v, measured, ("", "", ""), marked, _outline(result.scenario, columns, varying[2:]))
    elif len(varying) > 1:
        labels = label_of(varying[0]), label_of(varying[1]), ""
        sweep_map(ax, columns[varying[0]], columns[varying[1]], measured, labels, marked)
    else:
        sweep_line(ax, columns[varying[0]], measured, (label_of(varying[0]), label_of(_SHOWN)), marked)
    return columns["status"], measured, held


def save_sweep(path: str | Path, result: Members) -> Path:
    """Write the page of a sweep as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, sweep_figure, result)


def _outline(scenario: Scenario, columns: dict[str, np.ndarray], held: list[str]) -> np.ndarray:
    """(2, n) what the aims of the members are at, m; nothing where such a system cannot be built."""
    try:
        return outline_seen(varied(scenario, {key: columns[key][0] for key in held}))
    except (InputError, ConvergenceError):
        return np.empty((2, 0))


def _held(columns: dict[str, np.ndarray], keys: list[str]) -> tuple[dict[str, np.ndarray], str]:
    """The members at the middle values of some keys, and the sentence that says so."""
    said = []
    for key in keys:
        values = np.unique(columns[key])
        middle = values[(len(values) - 1) // 2]
        columns = {name: column[columns[key] == middle] for name, column in columns.items()}
        said.append(f"{label_of(key).removesuffix(', ' + axis_unit(key))} = {number(middle, 'g', axis_unit(key))}")
    return columns, f"held: {', '.join(said)}" if said else ""


def _range(values: np.ndarray) -> str:
    found = values[np.isfinite(values)]
    if not len(found):
        return "no period change measured"
    return f"{number(found.min(), '+.1f')} to {number(found.max(), '+.1f', 's')}"


def _outcomes(statuses: np.ndarray) -> str:
    counts = Counter(statuses.tolist()).most_common()
    return f"{len(statuses)} members: " + ", ".join(f"{count} {word.replace('_', ' ')}" for word, count in counts)
