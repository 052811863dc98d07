"""One page a prediction: orbit, periods and attitude, the numbers that matter, and the caution."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...prediction.outcome import Outlets
from ...prediction.outcomes import OUTCOMES, shown_in
from ...prediction.predict import MISS
from ...scenario.wording import CAUTION
from ..angles import attitude_angles
from ..cycles import period_per_cycle
from ..files import save_page
from ..mutual_orbit import orbit
from ..seen import Seen, seen
from ..style import MM, PAGE, SMALL
from ..words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE_MM = (160.0, 208.0)
_KEY: dict[str, Any] = {"frameon": False, "fontsize": SMALL, "labelspacing": 0.22, "handlelength": 2.6}


def prediction_figure(prediction: Any) -> Figure:
    """Orbit, periods, attitude over the whole window and near the impact; 160 mm x 205 mm."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    view = seen(prediction)
    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        margins = {"left": 0.13, "right": 0.965, "top": 0.94, "bottom": 0.1}
        rows = figure.add_gridspec(3, 1, height_ratios=(70, 50, 38), hspace=0.36, **margins)
        top = rows[0].subgridspec(1, 2, width_ratios=(68, 64), wspace=0.1)
        bottom = rows[2].subgridspec(1, 5, width_ratios=(4, 49, 30, 49, 8), wspace=0.0)
        panels = [figure.add_subplot(place) for place in (top[0], rows[1], bottom[1], bottom[3])]
        beside = figure.add_subplot(top[1])
        orbit(panels[0], view.before.trajectory, view.after.trajectory, view.event)
        period_per_cycle(panels[1], view)
        attitude_angles(panels[2], view)
        attitude_angles(panels[3], view, days=(-0.5, 2.5))
        beside.set_axis_off()
        handles, labels = panels[0].get_legend_handles_labels()
        beside.legend(handles, labels, loc="upper left", bbox_to_anchor=(-0.03, 1.05), **_KEY)
        _table(beside, view)
        figure.text(0.02, 0.985, _headline(view), fontsize=11.5, fontweight="bold", va="top")
        figure.text(0.02, 0.008, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_prediction(path: str | Path, prediction: Any) -> Path:
    """Write the page of a Prediction, or of a stored one, as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, prediction_figure, prediction)


def _headline(view: Seen) -> str:
    row, status = OUTCOMES["period_change_s"], view.numbers["status"]
    if (change := view.numbers[row.name]) is not None:
        said = f"{row.label} {number(change, '+.1f', row.unit)} ({number(change / 60, '+.2f', 'min')})"
    else:
        said = "no impact" if status == MISS else "no period change measured"
    return f"{view.name}: {said}" + ("" if status == "completed" else f" ({status.replace('_', ' ')})")


def _table(ax: Axes, view: Seen) -> None:
    """What changes, before and after, and what was done; in the lower part of empty axes."""
    n, height = view.numbers, iter(0.51 - 0.053 * k for k in range(20))
    cells: list[tuple[str, ...]] = [("", "before", "after")]
    for row in shown_in(Outlets.PAGE, "orbit", "attitude"):
        before = number(n[row.name_before], row.form) if row.name_before in n else ""
        cells.append((row.label_with_unit, before, number(n.get(row.name), row.form)))
    for name, *texts in cells:
        y = next(height)
        ax.text(-0.06, y, name, fontsize=SMALL)
        for x, text in zip((0.79, 1.04), texts, strict=True):
            ax.text(x, y, text, fontsize=SMALL, ha="right")
    next(height)
    for line in _footnotes(view):
        ax.text(-0.06, next(height) + 0.055, line, fontsize=SMALL)


def _footnotes(view: Seen) -> list[str]:
    n, window = view.numbers, OUTCOMES["window_days"]
    lines = [f"{row.label} {number(n[row.name], row.form, row.unit)}" for row in shown_in(Outlets.PAGE, "impact")]
    lines.append(f"period by {n['estimator'].replace('_', ' ')}, window {window.said(n[window.name])}")
    if view.after.attitude and view.after.attitude.tumbling:
        lines.append(f"tumbling: {view.after.attitude.tumbling_reason}")
    return lines
