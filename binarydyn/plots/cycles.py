"""Every single cycle of the orbit against time: the step at the impact, and the scatter about each mean."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..constants import DAY_S, HOUR_S
from .seen import Seen, SeenSide, seen
from .style import AFTER, BEFORE, INK, SMALL, Pen, mark_impact
from .words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_CLEAR = 12.0
"""Step over scatter (peak to peak) beyond which the levels are named at their lines and the scatter is enlarged."""
_KEY: dict[str, Any] = {"frameon": False, "borderaxespad": 0.0, "handlelength": 2.2}


def period_per_cycle(ax: Axes, prediction: Any) -> None:
    """Single-cycle periods, h, against days from the impact, and the mean period of each window as a labelled line.

    prediction: a Prediction or a stored one.  Where the step hides the scatter, the two free quarters of the axes show
    the cycles again, enlarged, as their difference from the mean in seconds; else the means are named above the axes.
    """
    view = seen(prediction)
    sides = [(view.before, BEFORE, "before"), (view.after, AFTER, "after")]
    for side, pen, name in sides:
        _cycles(ax, side, pen, name)
    _limits(ax, view)
    mark_impact(ax, view.event)
    ax.set(xlabel="Time since impact (days)", ylabel="Single-orbit period (h)")
    ax.locator_params(axis="y", nbins=6)
    step = _step(view)
    if step is None or abs(step) < _CLEAR * max(np.ptp(side.single_orbit_periods_s) for side, _, _ in sides):
        _name_means_above(ax)
        return
    _mark_step(ax, view, step)
    low, high = (0.13, 0.69) if step < 0.0 else (0.69, 0.13)
    _name_mean(ax, view.before, BEFORE, "before", step < 0.0)
    _name_mean(ax, view.after, AFTER, "after", step > 0.0)
    _enlarged(ax, view.before, BEFORE, (0.09, low, 0.36, 0.24))
    _enlarged(ax, view.after, AFTER, (0.63, high, 0.36, 0.24))


def _cycles(ax: Axes, side: SeenSide, pen: Pen, name: str) -> None:
    ax.plot(side.cycle_days, side.single_orbit_periods_s / HOUR_S, **pen.points(2.5, hollow=True), zorder=2, label=name)
    if side.period_s is not None:
        ends = side.trajectory.time_s[[0, -1]] / DAY_S
        label = f"{name}: {side.period_s / HOUR_S:.6f} h"
        ax.plot(ends, [side.period_s / HOUR_S] * 2, **pen.line(1.3), zorder=3, label=label)


def _name_means_above(ax: Axes) -> None:
    """A key to each mean, at either end above the axes; the word for the impact stands between them."""
    from matplotlib.legend import Legend

    for line in [line for line in ax.get_lines() if str(line.get_label()).startswith(("before:", "after:"))]:
        label = str(line.get_label())
        end = "left" if label.startswith("before") else "right"
        place: dict[str, Any] = {"loc": f"lower {end}", "bbox_to_anchor": (0.0 if end == "left" else 1.0, 1.01)}
        ax.add_artist(Legend(ax, [line], [label], **place, **_KEY))


def _limits(ax: Axes, view: Seen) -> None:
    low, high = view.days
    margin = 0.02 * (high - low)
    ax.set_xlim(low - margin, high + margin)
    values = np.concatenate([view.before.single_orbit_periods_s, view.after.single_orbit_periods_s]) / HOUR_S
    if len(values):
        middle, half = 0.5 * (values.max() + values.min()), 0.5 * max(np.ptp(values), 1e-4 * values.max())
        ax.set_ylim(middle - 1.5 * half, middle + 1.5 * half)
    else:
        ax.set_yticks([])
    for name, side, x in (("before", view.before, 0.04), ("after", view.after, 0.96)):
        if not len(side.single_orbit_periods_s):
            ax.text(x, 0.5, f"no whole cycle {name}", transform=ax.transAxes, ha="left" if x < 0.5 else "right")


def _step(view: Seen) -> float | None:
    """Change of the mean, s, where both were measured."""
    before, after = view.before.period_s, view.after.period_s
    return None if before is None or after is None else after - before


def _name_mean(ax: Axes, side: SeenSide, pen: Pen, name: str, above: bool) -> None:
    """The mean in words, on the far side of the line from the other level."""
    assert side.period_s is not None, "named where it was measured"
    middle = side.trajectory.time_s[[0, -1]].mean() / DAY_S
    ax.annotate(
        f"{name}: {side.period_s / HOUR_S:.6f} h",
        (middle, side.period_s / HOUR_S),
        (0, 5 if above else -5),
        textcoords="offset points",
        ha="center",
        va="bottom" if above else "top",
        color=pen.colour if pen is AFTER else INK,
    )


def _mark_step(ax: Axes, view: Seen, step: float) -> None:
    """An arrow from the old to the new level, a little after the impact."""
    x = 0.02 * np.ptp(ax.get_xlim())
    levels = [side.period_s / HOUR_S for side in (view.before, view.after) if side.period_s is not None]
    ax.annotate("", (x, levels[1]), (x, levels[0]), arrowprops={"arrowstyle": "->", "linewidth": 1.0, "color": INK})
    text = f"{number(step, '+.2f')} s ({number(step / 60.0, '+.3f')} min)"
    ax.annotate(text, (x, np.mean(levels)), (5, 0), textcoords="offset points", ha="left", va="center", label="step")


def _enlarged(ax: Axes, side: SeenSide, pen: Pen, box: tuple[float, float, float, float]) -> None:
    """Difference from the mean, s, in a free quarter of the axes."""
    inset = ax.inset_axes(box)
    inset.plot(side.cycle_days, side.single_orbit_periods_s - side.period_s, **pen.points(1.8, hollow=True))
    inset.plot(side.cycle_days, side.single_orbit_periods_s - side.period_s, color=pen.colour, linewidth=0.3)
    inset.axhline(0.0, **pen.line(0.8))
    inset.set_title("Deviation from mean (s)", fontsize=SMALL, loc="center", pad=2)
    inset.tick_params(labelsize=SMALL, pad=2)
    inset.locator_params(axis="y", nbins=3)
    inset.locator_params(axis="x", nbins=4)
