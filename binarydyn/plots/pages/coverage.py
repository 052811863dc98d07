"""One page of a coverage test: how often intervals hold the truth, and the pulls of the period change."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...observing.coverage import QUANTITIES, Trial
from ...prediction.outcomes import OUTCOMES
from ...scenario.wording import CAUTION
from ..files import save_page
from ..style import AFTER, BEFORE, INK, LATER, MM, PAGE, SMALL

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LABELS = (
    OUTCOMES["period_change_s"].label,
    "Eccentricity after",
    OUTCOMES["apsidal_precession_after_deg_day"].label,
)
_SIZE_MM = (160.0, 105.0)


def coverage_figure(name: str, trials: Sequence[Trial]) -> Figure:
    """Covered against stated share for each quantity, and the pulls of the period change; 160 x 105 mm."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    done = [trial for trial in trials if trial.status == "completed"]
    with rc_context(PAGE):
        figure = Figure(figsize=(_SIZE_MM[0] * MM, _SIZE_MM[1] * MM))
        left, right = (figure.add_axes((x, 0.24, 0.38, 0.58)) for x in (0.09, 0.58))
        covered_shares(left, done)
        pulls(right, done)
        subject = (name or "scenario without a name").replace("$", r"\$")
        figure.text(
            0.02, 0.97, f"{subject}: intervals against {len(done)} truths", fontsize=11.5, fontweight="bold", va="top"
        )
        figure.text(0.02, 0.02, CAUTION.replace("; ", ";\n"), fontsize=SMALL, va="bottom")
    return figure


def save_coverage(path: str | Path, name: str, trials: Sequence[Trial]) -> Path:
    """Write the page as PNG, PDF or SVG by the suffix.  Errors: InputError."""
    return save_page(path, lambda given: coverage_figure(*given), (name, trials))


def covered_shares(ax: Axes, done: Sequence[Trial]) -> None:
    """How many of the truths lie in the central interval of each share, with the binomial error of two sigma."""
    stated = np.linspace(0.0, 1.0, 101)
    error = 2.0 * np.sqrt(stated * (1.0 - stated) / len(done))
    ax.fill_between(
        stated, stated - error, stated + error, color=INK, alpha=0.12, linewidth=0.0, label="2 sigma of chance"
    )
    for k, (label, pen) in enumerate(zip(_LABELS, (AFTER, LATER, BEFORE), strict=True)):
        inner = np.sort(np.abs(2.0 * np.array([trial.below[k] for trial in done]) - 1.0))
        ax.step(
            [0.0, *inner, 1.0],
            np.append(np.arange(len(done) + 1), len(done)) / len(done),
            where="post",
            color=pen.colour,
            label=label,
        )
    ax.set(xlabel="stated share", ylabel="share of truths inside", xlim=(0.0, 1.0), ylim=(0.0, 1.0))
    ax.legend(frameon=False, fontsize=SMALL)


def pulls(ax: Axes, done: Sequence[Trial]) -> None:
    """(fitted - true)/sigma of the period change, beside the normal distribution."""
    k = QUANTITIES.index("period_change_s")
    pull = np.array([(trial.mean[k] - trial.truth[k]) / trial.sigma[k] for trial in done])
    ax.hist(np.clip(pull, -4.0, 4.0), np.linspace(-4.0, 4.0, 17).tolist(), density=True, color=AFTER.colour, alpha=0.5)
    z = np.linspace(-4.0, 4.0, 201)
    ax.plot(z, np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi), color=INK, linewidth=0.8)
    ax.set(xlabel="pull of the period change", ylabel="density")
