"""One page of measured event times: O-C against the period before the impact, and what the fit leaves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...constants import DAY_S
from ...observing.event_times import TimingFit
from ...prediction.outcomes import OUTCOMES
from ...scenario.wording import CAUTION, counted
from ...timing.evidence import UNSTATED_SIGMA_S
from ..files import save_page
from ..style import INK, MM, PAGE, SMALL, mark_impact
from ..words import number
from .timetable import EVENT_PENS, event_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE_MM = (160.0, 190.0)
_MORE_MM = 40.0
"""For the period change where several counts of cycles fit."""


def timing_figure(found: TimingFit) -> Figure:
    """O-C, min, of every event, and what the fit leaves of it, s, against days from the impact; 160 x 190 mm.

    Where the count of cycles is not certain, the density of the period change is below them; 160 x 230 mm."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(PAGE):
        several = bool(found.timing.others)
        width, height = _SIZE_MM
        figure = Figure(figsize=(width * MM, (height + several * _MORE_MM) * MM))
        heights = (40, 40, 30, 25)[: 3 + several]
        edges = {"left": 0.13, "right": 0.965, "top": 0.85, "bottom": 0.17, "hspace": 0.2 + 0.15 * several}
        rows = figure.add_gridspec(len(heights), 1, height_ratios=heights, **edges)
        top = figure.add_subplot(rows[0])
        middle, bottom = (figure.add_subplot(rows[i], sharex=top) for i in (1, 2))
        against_before(top, found)
        swing(middle, found)
        from_fit(bottom, found)
        if several:
            density(figure.add_subplot(rows[3]), found)
        handles, names = bottom.get_legend_handles_labels()
        shown = [(h, n) for h, n in zip(handles, names, strict=True) if not n.startswith("_") and n in _NAMES]
        figure.legend(*zip(*shown, strict=True), loc="lower left", bbox_to_anchor=(0.11, 0.055), ncols=2, frameon=False)
        name = (found.scenario.name or "scenario without a name").replace("$", r"\$")
        figure.text(0.02, 0.98, f"{name}: event times", fontsize=11.5, fontweight="bold", va="top")
        figure.text(0.02, 0.945, _beneath(found), fontsize=SMALL, va="top")
        figure.text(0.02, 0.01, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_timing(path: str | Path, found: TimingFit) -> Path:
    """Write the page as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, timing_figure, found)


def against_before(ax: Axes, found: TimingFit) -> None:
    """O-C against the period before t0, min; the line goes from one fitted value to the next of the same kind."""
    fit, days = found.fit, found.readings.time_s / DAY_S
    fitted = (fit.before_s - fit.residual_s) / 60.0
    for label, same in _by_kind(found):
        ax.plot(days[same], fit.before_s[same] / 60.0, **EVENT_PENS[label].points(3.5, hollow=True))
        late = same & (days >= 0.0)
        ax.plot(days[late], fitted[late], **EVENT_PENS[label].line(0.8), label="_fit")
    ax.axhline(0.0, color=INK, linewidth=0.5)
    ax.set(ylabel="O-C, period before, min")
    ax.tick_params(labelbottom=False)
    mark_impact(ax)


def swing(ax: Axes, found: TimingFit) -> None:
    """O-C against the mean motion of either side, min: how an ellipse swings the mid-times about its mean period."""
    fit, days = found.fit, found.readings.time_s / DAY_S
    for label, same in _by_kind(found):
        ax.plot(days[same], fit.line_s[same] / 60.0, **EVENT_PENS[label].points(3.5, hollow=True))
        for side in (days < 0.0, days >= 0.0):
            part = same & side
            ax.plot(days[part], (fit.line_s - fit.residual_s)[part] / 60.0, **EVENT_PENS[label].line(0.8), label="_fit")
    ax.axhline(0.0, color=INK, linewidth=0.5)
    ax.set(ylabel="O-C, own period, min")
    ax.tick_params(labelbottom=False)
    mark_impact(ax, "")


def from_fit(ax: Axes, found: TimingFit) -> None:
    """Middles minus the fit, s, with their errors as fitted: each time's own, and that common to its night."""
    days, residual, bars = found.readings.time_s / DAY_S, found.fit.residual_s, fitted_error_s(found)
    for label, same in _by_kind(found):
        ax.errorbar(days[same], residual[same], bars[same], fmt="none", ecolor=EVENT_PENS[label].colour, alpha=0.35)
        ax.plot(days[same], residual[same], **EVENT_PENS[label].points(3.5, hollow=True), label=_name(label))
    ax.axhline(0.0, color=INK, linewidth=0.5)
    ax.set(xlabel="Time since impact (days)", ylabel="from the fit, s")
    mark_impact(ax, "")


def fitted_error_s(found: TimingFit) -> np.ndarray:
    """(n,) one sigma of each time by the noise that the fit finds."""
    fit, stated = found.fit, found.mids.sigma_s
    own = np.full(len(found.mids), UNSTATED_SIGMA_S) if stated is None else stated
    return np.hypot(fit.scale[0] * own, fit.tau_s[0])


def density(ax: Axes, found: TimingFit) -> None:
    """Probability density of the period change, a mixture over the counts of cycles, 1/s."""
    change = found.change
    near = np.linspace(-5.0, 5.0, 41)
    value = np.sort(np.concatenate([mean + sigma * near for _, mean, sigma in zip(*change.columns, strict=True)]))
    ax.fill_between(value, change.density(value), color=INK, alpha=0.25, linewidth=0.0)
    ax.plot(value, change.density(value), color=INK, linewidth=0.8)
    ax.set(
        xlabel=OUTCOMES["period_change_s"].label_with_unit,
        ylabel="density, 1/s",
        xlim=change.interval(0.999),
        ylim=(0.0, None),
    )


def _by_kind(found: TimingFit) -> list[tuple[tuple[str, str], np.ndarray]]:
    mids = found.mids
    masks = [(label, (mids.kind == label[0]) & (mids.body == label[1])) for label in EVENT_PENS]
    return [(label, mask) for label, mask in masks if mask.any()]


def _name(label: tuple[str, str]) -> str:
    return event_words(*label)


_NAMES = [_name(label) for label in EVENT_PENS]


def _beneath(found: TimingFit) -> str:
    fit, e = found.fit, found.fit.eccentricity_after
    ellipse = f", eccentricity after {number(e[0], '.4f')} ± {number(e[1], '.4f')}"
    sides = [
        f"{number(fit.period_h(side), '.6f')} h ± {number(fit.period_sigma_s(side), '.2f')} s {side}"
        for side in ("before", "after")
    ]
    return (
        f"sidereal period {', '.join(sides)}, changed by {number(fit.change_s, '+.2f')} ± "
        f"{number(found.change_sigma_s, '.2f')} s\n{counted(len(found.mids), 'event')}, scatter about the fit "
        f"{number(fit.scatter_s, '.1f')} s{ellipse}\n"
        "marks: measured less the light time and the geometry of each event; lines: the fit; bars: fitted noise"
    )
