"""One page a timetable: how the events time shift after the impact, how deep they are, and what they were before."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ...constants import DAY_S
from ...observing.timetable import Entry, Timetable
from ...observing.timetable_rows import period_words
from ...scenario.wording import CAUTION
from ...sky.dip_causes import BOTH
from ..files import save_page
from ..style import INK, MM, PAGE, SMALL, Pen, mark_impact
from ..words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PENS = {
    ("eclipse", "primary"): Pen("#14507d", "solid", "o"),
    ("eclipse", "secondary"): Pen("#14507d", (0, (5, 2)), "s"),
    ("occultation", "primary"): Pen("#c9731c", (0, (1.2, 1.2)), "^"),
    ("occultation", "secondary"): Pen("#c9731c", (0, (3, 1.5, 1, 1.5)), "v"),
}
EVENT_PENS = PENS | {
    (BOTH, "primary"): Pen("#3f7d3a", (0, (7, 1.5)), "D"),
    (BOTH, "secondary"): Pen("#3f7d3a", (0, (1, 3)), "P"),
}
_SIZE_MM = (160.0, 150.0)
_ROOM = 1.2
"""Height of the panel of depths against the deepest event: whole marks, below that of the impact."""


def timetable_figure(table: Timetable) -> Figure:
    """Middles minus the ephemeris from before t0, min, and depths, mag, against days from the impact; 160 x 150 mm."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        rows = figure.add_gridspec(
            2, 1, height_ratios=(60, 40), hspace=0.2, left=0.13, right=0.965, top=0.83, bottom=0.22
        )
        top = figure.add_subplot(rows[0])
        bottom = figure.add_subplot(rows[1], sharex=top)
        draw_mid_times(top, table)
        depths(bottom, table)
        handles, names = bottom.get_legend_handles_labels()
        shown = [(h, n) for h, n in zip(handles, names, strict=True) if not n.startswith("_")]
        if shown:
            figure.legend(
                *zip(*shown, strict=True), loc="lower left", bbox_to_anchor=(0.11, 0.055), ncols=2, frameon=False
            )
        figure.text(0.02, 0.98, _headline(table), fontsize=11.5, fontweight="bold", va="top")
        figure.text(0.02, 0.925, _beneath(table), fontsize=SMALL, va="top")
        figure.text(0.02, 0.01, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_timetable(path: str | Path, table: Timetable) -> Path:
    """Write the page of a timetable as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, timetable_figure, table)


def _minutes(entries: Sequence[Entry], name: str) -> list[float]:
    return [getattr(entry, name) / 60.0 for entry in entries]


def draw_mid_times(ax: Axes, table: Timetable) -> None:
    """O-C of the mid-times, min, with predicted sigmas; the curve is the time shift against the run without the
    impact."""
    for label, same in _by_kind(table):
        pen = EVENT_PENS[label]
        known = [entry for entry in same if entry.o_minus_c_s is not None]
        ax.plot(_days(known), _minutes(known, "o_minus_c_s"), **pen.points(3.5, hollow=True))
        sure = [entry for entry in known if entry.mid_time_sigma_s is not None]
        if sure:
            bars = _minutes(sure, "mid_time_sigma_s")
            ax.errorbar(
                _days(sure),
                _minutes(sure, "o_minus_c_s"),
                bars,
                fmt="none",
                ecolor=pen.colour,
                elinewidth=0.8,
                label="_sigma",
            )
        moved = [entry for entry in same if entry.shift_s is not None]
        ax.plot(_days(moved), _minutes(moved, "shift_s"), **pen.line(0.9), label="_drift")
    ax.axhline(0.0, color=INK, linewidth=0.5)
    ax.set(ylabel="middle minus ephemeris, min")
    ax.tick_params(labelbottom=False)
    mark_impact(ax, _word(table))


def depths(ax: Axes, table: Timetable) -> None:
    """Depth of each event as of equally bright discs, mag, and, small, that of its dip; absent ones have none."""
    for label, same in _by_kind(table):
        name = event_words(*label)
        ax.plot(
            _days(same),
            [entry.event.depth_mag for entry in same],
            **EVENT_PENS[label].points(3.5, hollow=True),
            label=name,
        )
        dips = [(entry.event.mid_s / DAY_S, float(np.mean(d.depth_mag))) for entry in same if (d := entry.event.dip)]
        ax.plot(*np.reshape(dips, (-1, 2)).T, **EVENT_PENS[label].points(1.5), label="_dip")
    ax.set(xlabel="Time since impact (days)", ylabel="depth, mag")
    ax.set_title("large: of equally bright discs; small: of the light that is missing", fontsize=SMALL, loc="left")
    ax.set_ylim(0.0, _ROOM * ax.get_ylim()[1])
    mark_impact(ax, "")


def event_words(kind: str, body: str) -> str:
    """In a legend."""
    return f"{'eclipse and occultation' if kind == BOTH else kind} of the {body}"


def _by_kind(table: Timetable) -> list[tuple[tuple[str, str], list[Entry]]]:
    happens = [entry for entry in table.entries if entry.counts]
    return [(label, [e for e in happens if (e.event.kind, e.event.body) == label]) for label in EVENT_PENS]


def _days(entries: list[Entry]) -> Any:
    return np.array([entry.event.mid_s for entry in entries]) / DAY_S


def _word(table: Timetable) -> str:
    return {"miss": "miss", "none": "no impact"}.get(table.impact.status, "impact")


def _headline(table: Timetable) -> str:
    name = (table.scenario.name or "scenario without a name").replace("$", r"\$")
    return f"{name}: mutual events"


def _beneath(table: Timetable) -> str:
    g = table.geometry
    return (
        f"t0 seen {table.sky.observed_utc([0.0])[0]}, phase angle {number(float(g.phase_angle_deg[0]), '.1f')} deg; "
        f"{period_words(table, '.5f')}\n"
        "marks: against the straight ephemeris from before; lines: against a run without the impact"
        + ("; bars: 1 sigma" if any(entry.mid_time_sigma_s is not None for entry in table.entries) else "")
    )
