"""How often do intervals of the period change, and of beta, hold the truth?  Pairs, hit, observed, fitted, inverted.

    python experiments/13_round_trip/run.py [members]

Prints a table of what `binarydyn coverage` says of several cadences, and one of beta; draws coverage.png.  The first
table is a minute or two a row with 100 members on one core.
"""

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from round_trip import Returned, prepared, round_trips

from binarydyn.observing.cadence import Cadence
from binarydyn.observing.coverage import coverages, tried
from binarydyn.observing.event_times import reference_for
from binarydyn.observing.synthetic_times import Observing, synthesised, synthesised_nights
from binarydyn.scenario import Scenario, example, load

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


TEST_2022 = Path(__file__).parents[2] / "reference_cases" / "impact_2022_heliocentric.toml"
ELONGATED = {"secondary.semi_axes_m": [140.0, 95.0, 86.0]}
NIGHTS = {"campaign": {"nights_before": 14, "nights_after": 14, "night_h": 7.0, "least_depth_mag": 0.005}}


@dataclass(frozen=True)
class Case:
    name: str
    quantities: dict[str, str]
    days: float
    how: Observing
    few: int | None = None


CASES = (
    Case("inputs decide", WIDE, 10.0, Observing(30.0)),
    Case("event times decide", NARROW, 10.0, Observing(300.0)),
    Case("a night in common", WIDE, 10.0, Observing(42.0, 42.0)),
)


@dataclass(frozen=True)
class Row:
    """One cadence: of a scenario, days either side or the nights of [campaign], and how it is observed."""

    name: str
    scenario: Scenario
    days: float | None
    how: Observing
    body: str = ""
    robust: bool = False


def cadences() -> list[Row]:
    test, pair = load(TEST_2022), example()
    night, long = pair.replace(NIGHTS), pair.replace(ELONGATED)
    return [
        Row("2022, 14 days, 60 s", test, 14.0, Observing(60.0)),
        Row("the same, the secondary's dips", test, 14.0, Observing(60.0), "secondary"),
        Row("2022, 30 days, 60 s", test, 30.0, Observing(60.0)),
        Row("2022, 14 days, 42 s and 42 s a night", test, 14.0, Observing(42.0, 42.0)),
        Row("pair, 14 days, 60 s", pair, 14.0, Observing(60.0)),
        Row("pair, 14 days, 42 s and 42 s a night", pair, 14.0, Observing(42.0, 42.0)),
        Row("pair, 7 h a night, 42 s and 42 s a night", night, None, Observing(42.0, 42.0)),
        Row("pair, a tenth of the dips, sigma stated", pair, 14.0, Observing(60.0, share=0.1)),
        Row("pair, a tenth of the dips, no sigma", pair, 14.0, Observing(60.0, share=0.1, stated=0.0)),
        Row("pair, outliers, robust", pair, 14.0, Observing(60.0, outliers=0.1), robust=True),
        Row("pair, sigma stated a third", pair, 14.0, Observing(60.0, stated=1.0 / 3.0)),
        Row("pair, sigma stated three times", pair, 14.0, Observing(60.0, stated=3.0)),
        Row("elongated, 14 days, 60 s", long, 14.0, Observing(60.0)),
        Row("elongated, 14 days, 42 s and 42 s a night", long, 14.0, Observing(42.0, 42.0)),
    ]


def tell_coverage(row: Row, members: int) -> None:
    exact = Observing(noise_s=0.0)
    mids = synthesised(row.scenario, row.days, exact, 0) if row.days else synthesised_nights(row.scenario, exact, 0)
    mids = mids.chosen(mids.body == row.body) if row.body else mids
    reference = reference_for(row.scenario, mids)
    begin = time.process_time()
    trials = list(tried(reference, Cadence.of(reference, mids), row.how, members, 0, row.robust))
    spent = (time.process_time() - begin) / members
    events = np.median([trial.events for trial in trials if trial.status == "completed"])
    change, e, turning = coverages(trials)
    cells = ["/".join(f"{100.0 * share:.0f}" for share in one.covered) for one in (change, e, turning)]
    cells.insert(1, f"{change.bias:+.2f} +- {change.bias_sigma:.2f}, {change.rms:.2f}, {change.median_sigma:.2f}")
    print(
        f"| {row.name} ({change.count}; {events:.0f}) | {' | '.join(cells)} | {change.verdict} | {spent:.2f} |",
        flush=True,
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

    print("| data (truths; events) | change | bias, rms, sigma, s | e | apsidal rate | change | s a truth |")
    print("|---|---|---|---|---|---|---|")
    for row in cadences():
        tell_coverage(row, members)
    figure = Figure(figsize=(7.5, 8.0), layout="constrained")
    axes = figure.subplots(len(CASES), 1)
    print(
        "| case | beta 68 % | beta 95 % | velocity change 68 % | velocity change 95 % | change 68 % | change 95 % | "
        "sigma of the change, s | "
        "mean miss, s | s a member |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|")
    for case, ax in zip(CASES, axes, strict=True):
        trip = prepared(scenario_of(case), BETAS, case.days, case.how, 4000, case.few)
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
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
