"""Do the intervals of beta hold the truth as often as they say?  200 pairs, hit, observed with noise, fitted, inverted.

    python experiments/13_round_trip/run.py [members]

Prints a table of coverages and draws coverage.png; a few minutes.
"""

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from round_trip import Returned, prepared, round_trips

from binarydyn.scenario import Scenario, example
from binarydyn.sky.events import KINDS

BETAS = (1.5, 3.5)
WIDE = {
    "mutual_orbit.separation_m": "{normal = [821.0, 8.0]}",
    "secondary.density_kg_m3": "{uniform = [2400.0, 3600.0]}",
    "secondary.semi_axes_m.0": "{normal = [70.0, 1.5]}",
    "impactor.speed_km_s": "{normal = [5.4, 0.05]}",
}
NARROW = {
    "mutual_orbit.separation_m": "{normal = [821.0, 0.3]}",
    "secondary.density_kg_m3": "{normal = [3120.0, 3.0]}",
}


@dataclass(frozen=True)
class Case:
    name: str
    quantities: dict[str, str]
    days: float
    noise_s: float
    kinds: tuple[str, ...]


CASES = (
    Case("inputs decide", WIDE, 10.0, 30.0, ("eclipse",)),
    Case("inputs decide, all events", WIDE, 14.0, 30.0, KINDS),
    Case("event times decide", NARROW, 10.0, 300.0, ("eclipse",)),
)


def scenario_of(case: Case) -> Scenario:
    text = example().text
    for side in ("before", "after"):
        assert f"days_{side} = 60.0" in text
        text = text.replace(f"days_{side} = 60.0", f"days_{side} = {case.days:g}")
    lines = "\n".join(f'"{name}" = {law}' for name, law in case.quantities.items())
    return Scenario.from_text(f"{text}\n[sampling]\nseed = 3\n[sampling.quantities]\n{lines}\n")


def covered(rows: list[Returned], name: str, percent: int) -> float:
    return 100.0 * float(np.mean([row.covers(name, percent) for row in rows]))


def draw(ax, rows: list[Returned], title: str) -> None:
    """Intervals of beta less the truth, in the order of the truth."""
    rows = sorted(rows, key=lambda row: row.beta)
    for percent, width, colour in ((95, 0.8, "#b8b8b8"), (68, 1.8, "#14507d")):
        low, high = (np.array([row.of_beta[f"{end}_{percent}"] - row.beta for row in rows]) for end in ("low", "high"))
        ax.vlines(np.arange(len(rows)), low, high, colors=colour, linewidths=width, label=f"{percent} %")
    ax.axhline(0.0, color="#1a1a1a", linewidth=0.6)
    ax.set(title=title, ylabel="beta less the truth")


def main(members: int) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.5, 8.0), layout="constrained")
    axes = figure.subplots(len(CASES), 1)
    print(
        "| case | beta 68 % | beta 95 % | velocity change 68 % | velocity change 95 % | change 68 % | change 95 % | "
        "sigma of the change, s | "
        "mean miss, s | s a member |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|")
    for case, ax in zip(CASES, axes, strict=True):
        trip = prepared(scenario_of(case), BETAS, case.days, case.noise_s, 4000, case.kinds)
        begin = time.process_time()
        rows = list(round_trips(trip, BETAS, range(members)))
        spent = (time.process_time() - begin) / members
        lost = [row.status for row in rows if row.status != "completed"]
        rows = [row for row in rows if row.status == "completed"]
        cells = [f"{covered(rows, name, p):.1f}" for name in ("beta", "dv_mm_s") for p in (68, 95)]
        miss = np.array([row.change_s - row.true_change_s for row in rows])
        sigma = np.array([row.change_sigma_s for row in rows])
        cells += [f"{100.0 * np.mean(np.abs(miss) < z * sigma):.1f}" for z in (0.994, 1.96)]
        cells += [f"{sigma.mean():.2f}", f"{miss.mean():+.2f}", f"{spent:.2f}"]
        print(f"| {case.name} | " + " | ".join(cells) + " |", flush=True)
        for status in sorted(set(lost)):
            print(f"{lost.count(status)} not inferred: {status}")
        draw(ax, rows, case.name)
    axes[0].legend(frameon=False, ncols=2)
    axes[-1].set_xlabel("members, in the order of the true beta")
    figure.savefig(Path(__file__).parent / "coverage.png", dpi=130)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
