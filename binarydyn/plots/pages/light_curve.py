"""One page a light curve: magnitudes against time, with the mutual events that are under way."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...constants import DAY_S
from ...observing.light_curve import Photometry, span
from ...observing.light_curve_rows import LAW_WORDS, PHASE_WORDS
from ...scenario.wording import CAUTION
from ..files import save_page
from ..style import AFTER, BEFORE, INK, MM, PAGE, SMALL, mark_impact
from ..words import number
from .timetable import PENS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE_MM = (160.0, 120.0)
_BAND = 0.03
"""Of the height of the axes, for the bar of each kind of event."""


def light_curve_figure(found: Photometry) -> Figure:
    """Magnitudes, brighter upwards, against days from the impact; bars below them are events; 160 x 120 mm."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    name = (found.scenario.name or "scenario without a name").replace("$", r"\$")
    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        ax = figure.add_axes((0.12, 0.31, 0.845, 0.47))
        magnitudes(ax, found)
        handles, names = ax.get_legend_handles_labels()
        shown = [(h, n) for h, n in zip(handles, names, strict=True) if not n.startswith("_") and n != "impact"]
        figure.legend(*zip(*shown, strict=True), loc="lower left", bbox_to_anchor=(0.1, 0.075), ncols=2, frameon=False)
        figure.text(0.02, 0.975, f"{name}: light curve", fontsize=11.5, fontweight="bold", va="top")
        figure.text(0.02, 0.915, _beneath(found), fontsize=SMALL, va="top")
        figure.text(0.02, 0.01, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_light_curve(path: str | Path, found: Photometry) -> Path:
    """Write it as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, light_curve_figure, found)


def magnitudes(ax: Axes, found: Photometry) -> None:
    """The curve of either side, the noisy points where there is noise, and a bar for each event."""
    curve = found.curve
    day = curve.time_s / DAY_S
    for side, pen, word in ((day < 0.0, BEFORE, "before"), (day >= 0.0, AFTER, "after")):
        if side.any():
            ax.plot(day[side], curve.magnitude[side], **pen.line(0.9), label=f"{word} the impact")
            if found.noise_mag > 0.0:
                points = pen.points(1.8) | {"markeredgewidth": 0.0, "alpha": 0.7}
                ax.plot(day[side], found.magnitude[side], **points, label="_noisy", rasterized=len(day) > 5000)
    faint, bright = max(found.magnitude.max(), curve.magnitude.max()), min(found.magnitude.min(), curve.magnitude.min())
    height = max(faint - bright, 1e-4)
    ax.set(xlabel="Time since impact (days)", ylabel="magnitude, 0 at the mean flux")
    ax.set_xlim(day[0] - 0.01 * np.ptp(day), day[-1] + 0.01 * np.ptp(day))
    ax.set_ylim(faint + (0.1 + 1.5 * _BAND * len(PENS)) * height, bright - 0.05 * height)
    for row, (kind, pen) in enumerate(PENS.items()):
        same = [span(event) for event in found.events if (event.kind, event.body) == kind]
        place = faint + (0.08 + 1.5 * _BAND * (row + 0.5)) * height
        text = f"{kind[0]} of the {kind[1]}"
        for k, (first, last) in enumerate(same):
            ends = np.clip([first / DAY_S, last / DAY_S], day[0], day[-1])
            bar = pen.line(3.0) | {"linestyle": "solid", "solid_capstyle": "butt"}
            mark = pen.points(3.5, hollow=True) | {"linestyle": "solid"}
            ax.plot(
                [ends[0], ends.mean(), ends[1]],
                [place] * 3,
                **(mark | bar),
                markevery=[1],
                label=text if k == 0 else "_event",
            )
    ax.axhline(0.0, color=INK, linewidth=0.4)
    if day[0] <= 0.0 <= day[-1]:
        mark_impact(ax, {"miss": "miss", "none": "no impact"}.get(found.impact.status, "impact"))


def _beneath(found: Photometry) -> str:
    curve = found.curve
    angles = [number(float(f(curve.phase_angle_deg)), ".1f") for f in (np.min, np.max)]
    noise = f"noise {number(found.noise_mag, 'g', 'mag')} (seed {found.seed})" if found.noise_mag else "no noise"
    return (
        f"t0 seen {found.sky.observed_utc([0.0])[0]}, phase angle {angles[0]} to {angles[1]} deg, {noise}\n"
        f"{LAW_WORDS[found.surface.law]}\n{PHASE_WORDS[found.surface.phase_law]}"
    )
