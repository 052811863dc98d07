"""Roll, pitch and yaw of the secondary before and after the impact."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from ..constants import DAY_S
from .seen import SeenSide, seen
from .style import PITCH, ROLL, YAW, Pen, mark_impact, name_ends
from .words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ANGLES = {"roll": ROLL, "pitch": PITCH, "yaw": YAW}
_CURVES_UP_TO = 20.0
"""Cycles up to which the angles themselves are drawn; more would blacken the paper."""
_GROUPS = 40
"""Groups of cycles at most, for whose extremes a line is drawn."""
_MARKERS = 7
_TURNED = 180.0
_TICKS = (90.0, 180.0, 1080.0, 7200.0)


def attitude_angles(ax: Axes, prediction: Any, days: tuple[float, float] | None = None) -> None:
    """Roll, pitch and yaw, deg, against days from the impact; `days` (default: all) are the limits of the time axis.

    prediction: a Prediction or a stored one.  Over many cycles the lowest and the highest value in each cycle are drawn
    instead of the angle, which would fill the paper.
    """
    view = seen(prediction)
    whole = view.days
    low, high = whole if days is None else (max(days[0], whole[0]), min(days[1], whole[1]))
    cycle = (view.before.period_s or view.after.period_s or np.inf) / DAY_S
    group = max(1, math.ceil((high - low) / cycle / _GROUPS))  # cycles
    draw = _curve if high - low < _CURVES_UP_TO * cycle else _envelope
    ends: dict[str, float] = {}
    for side in (view.before, view.after):
        for name, pen in ANGLES.items() if side.attitude else ():
            end = draw(ax, side, name, pen, low, high, group * cycle)
            if end is not None:
                ends[name] = end
    ax.set_xlim(low - 0.02 * (high - low), high + 0.02 * (high - low))
    ax.set_xlabel("Time since impact (days)")
    cycles = f"{group} cycles" if group > 1 else "each cycle"
    ax.set_ylabel("Attitude angle (deg)" if draw is _curve else f"Attitude range\nover {cycles} (deg)")
    _limits(ax)
    mark_impact(ax, view.event)
    if ends:
        name_ends(ax, [(end, name, ANGLES[name]) for name, end in ends.items()])


def _limits(ax: Axes) -> None:
    """Angles that count whole turns of a tumbling body get a scale that is logarithmic beyond half a turn."""
    low, high = ax.dataLim.intervaly
    reach = max(abs(low), abs(high), 1e-9) if np.isfinite(high - low) else 1.0
    if reach > _TURNED:
        ax.set_yscale("symlog", linthresh=_TURNED, linscale=1.5)
        ticks = [tick for tick in _TICKS if tick < reach or tick <= _TURNED]
        ax.set_yticks([-tick for tick in reversed(ticks)] + [0.0, *ticks])
        ax.yaxis.set_major_formatter(lambda value, _: number(value, "g"))
        ax.minorticks_off()


def _curve(ax: Axes, side: SeenSide, name: str, pen: Pen, low: float, high: float, group: float) -> float | None:
    """The angle itself, with a marker now and then; returns where it ends."""
    assert side.attitude is not None, "drawn where it was measured"
    time, angle = side.attitude.time_s / DAY_S, getattr(side.attitude, f"{name}_deg")
    here = (time >= low) & (time <= high)
    if not here.any():
        return None
    every = max(1, int(np.ptp(time[here]) / (high - low) * _MARKERS))
    every = max(1, here.sum() // every)
    marks = (list(ANGLES).index(name) * every // 3, every)
    ax.plot(time[here], angle[here], **pen.line(1.1), label=name, marker=pen.marker, markersize=3.5, markevery=marks)
    return float(angle[here][-1])


def _envelope(ax: Axes, side: SeenSide, name: str, pen: Pen, low: float, high: float, group: float) -> float | None:
    """Lowest and highest angle of each group of cycles; returns where the highest ends."""
    assert side.attitude is not None, "drawn where it was measured"
    time, angle = side.attitude.time_s / DAY_S, getattr(side.attitude, f"{name}_deg")
    here = (time >= low) & (time <= high)
    if not here.any():
        return None
    time, angle = time[here], angle[here]
    groups = max(1, int((time[-1] - time[0]) / group))
    edges = np.linspace(time[0], time[-1], groups + 1)
    starts = np.searchsorted(time, edges[:-1])
    bottom, top = (f.reduceat(angle, starts) for f in (np.minimum, np.maximum))
    middle = 0.5 * (edges[1:] + edges[:-1])
    ax.fill_between(middle, bottom, top, color=pen.colour, alpha=0.12, linewidth=0.0)
    every = max(1, groups // 5)
    for edge, label in ((top, name), (bottom, f"_{name}, lowest")):
        marks = (list(ANGLES).index(name) * every // 3, every)
        ax.plot(middle, edge, **pen.line(1.1), label=label, marker=pen.marker, markersize=3.5, markevery=marks)
    return float(top[-1])
