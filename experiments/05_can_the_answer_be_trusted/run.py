"""Can the answer be trusted?  200 random pairs after a kinetic impact: the change of the period at the tolerances of
sweeps and of single predictions, and by the splitting, against reference runs; and what the flag `chaotic` says
against what references that start a hair apart show.

Prints the tables and writes table.md and trust.png beside this file; about a minute on one core.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from cases import DAYS, LONG, REFERENCE, cases, growth, period_changes_s
from nominal_pair import circumstances

from binarydyn.observables.chaos import UNSTABLE, simulate_with_neighbours

COUNT = 200
PROMISED_S = 0.01
SATURATED = 1e6
"""Growth of a hair of 1e-9 rad to a milliradian: no shear makes that of it in 60 days."""
MORE_THAN_LINEAR = 16.0
"""Growth over four windows over that of the first: 4 where it is linear, 16 where quadratic."""
RUNS = {
    "rungekutta, 1e-9 (sweeps)": (1e-9, "rungekutta"),
    "rungekutta, 1e-12 (default)": (1e-12, "rungekutta"),
    "splitting, its own step": (1e-9, "splitting", 1440.0),
    "splitting, 20 min (default samples)": (1e-9, "splitting", 20.0),
}


def flags(some, tolerance: float) -> tuple[np.ndarray, np.ndarray]:
    """(cases,) divergence_factor and `chaotic`, as predict and sweep report them."""
    chaos = [simulate_with_neighbours(case.at(tolerance), DAYS, case.after, 20.0, 10**9)[1] for case in some]
    return np.array([one.divergence_factor for one in chaos]), np.array([one.chaotic for one in chaos])


def error_table(errors: dict[str, np.ndarray], chaotic: np.ndarray) -> str:
    """Markdown: quantiles of |error of the period change|."""
    text = "| error of the period change, s | members | median | 90 % | largest | above 0.01 s |\n"
    text += "|---|---|---|---|---|---|\n"
    for name, error in errors.items():
        for word, chosen in (("regular", ~chaotic), ("chaotic", chaotic)):
            e = error[chosen & np.isfinite(error)]
            quantiles = " | ".join(f"{q:.1e}" for q in np.percentile(e, [50, 90, 100]))
            text += f"| {name}, {word} | {len(e)} | {quantiles} | {np.sum(e > PROMISED_S)} |\n"
    return text


def confusion_table(truths: dict[str, np.ndarray], chaotic: np.ndarray) -> str:
    """Markdown: what the references show against what the flag says."""
    text = "| what the references show | shown and flagged | missed | false alarms | neither | hit rate |\n"
    text += "|---|---|---|---|---|---|\n"
    for name, truth in truths.items():
        counts = [np.sum(truth & chaotic), np.sum(truth & ~chaotic), np.sum(~truth & chaotic)]
        counts.append(np.sum(~truth & ~chaotic))
        text += f"| {name} | {' | '.join(map(str, counts))} | {100.0 * counts[0] / max(1, np.sum(truth)):.0f} % |\n"
    return text


def listed(some: np.ndarray, divergence_factor: np.ndarray, grown: np.ndarray) -> str:
    """Case numbers with the flag's divergence_factor and the growth by the end of each window."""
    parts = [
        f"{k} (divergence_factor {divergence_factor[k]:.0f}; {', '.join(f'{g:.2g}' for g in grown[k])})" for k in some
    ]
    return "; ".join(parts) or "none"


def main() -> None:
    begin = time.perf_counter()
    head = f"Measured on {circumstances()} (load before the run)."
    some, left_out = cases(COUNT)
    reference = period_changes_s(some, REFERENCE)
    errors = {name: np.abs(period_changes_s(some, *setting) - reference) for name, setting in RUNS.items()}
    errors["reference against one at 1e-14"] = np.abs(period_changes_s(some, 0.1 * REFERENCE) - reference)
    divergence_factor, chaotic = flags(some, 1e-9)
    _, at_default = flags(some, 1e-12)
    grown = growth(some)
    chaotic = (grown[:, 0] > SATURATED) | (grown[:, -1] > MORE_THAN_LINEAR * grown[:, 0])
    lost = np.any([~(errors[name] < PROMISED_S) for name in RUNS if name.startswith("rungekutta")], axis=0)
    truths = {
        "an adaptive run at 1e-9 or 1e-12 errs by more than 0.01 s": lost,
        f"a hair grows {UNSTABLE:g} times in {DAYS:g} days": grown[:, 0] > UNSTABLE,
        f"a hair grows more than in proportion to time within {LONG * DAYS:g} days": chaotic,
    }
    text = f"{head}\n\n{COUNT} cases; {left_out} drawn pairs left out, without a stable relaxed state. "
    text += f"Period changes {reference.min():.0f} to {reference.max():.0f} s. Flagged chaotic: {chaotic.sum()}; "
    text += f"the flag differs between tolerances 1e-9 and 1e-12 in {np.sum(chaotic != at_default)}.\n\n"
    text += error_table(errors, chaotic) + "\n" + confusion_table(truths, chaotic) + "\n"
    missed, alarms = np.flatnonzero(chaotic & ~chaotic), np.flatnonzero(~chaotic & chaotic)
    text += f"Not flagged, but chaotic in the long run: {listed(missed, divergence_factor, grown)}.\n\n"
    text += f"Flagged, but growing in proportion to time: {listed(alarms, divergence_factor, grown)}.\n\n"
    text += f"Largest divergence_factor of a member that is not chaotic: {divergence_factor[~chaotic].max():.0f}. "
    text += f"Run time {time.perf_counter() - begin:.0f} s.\n"
    print(text)
    folder = Path(__file__).parent
    folder.joinpath("table.md").write_text(text)
    figure(errors, divergence_factor, grown, chaotic, folder / "trust.png")


def figure(errors, divergence_factor, grown, chaotic, path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.0, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    for name, style in zip(RUNS, ("o", "s", "^", "v"), strict=True):
        left.loglog(divergence_factor, np.maximum(errors[name], 1e-11), style, markersize=3, label=name, alpha=0.7)
    left.axhline(PROMISED_S, color="0.6", linewidth=0.8)
    left.set_ylabel("error of the period change, s")
    left.legend(frameon=False, fontsize=8)
    for chosen, label, style in ((~chaotic, "grows like time", "o"), (chaotic, "grows faster", "s")):
        right.loglog(divergence_factor[chosen], grown[chosen, -1], style, markersize=3, label=label)
    right.set_ylabel(f"growth of a hair in {LONG * DAYS:g} days, reference runs")
    right.legend(frameon=False, fontsize=8, title="in the references a hair", title_fontsize=8)
    for ax in (left, right):
        ax.axvline(UNSTABLE, color="0.6", linewidth=0.8)
        ax.set_xlabel(f"divergence_factor reported with the run, {DAYS:g} days")
    figure.savefig(path, dpi=110)


if __name__ == "__main__":
    main()
