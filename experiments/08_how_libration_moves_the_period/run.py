"""How does libration move the period?  A year after a velocity change like that of 2022, cycle by cycle: period.png."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from binarydyn.constants import DAY_S, HOUR_S
from binarydyn.dynamics import Trajectory
from binarydyn.observables import lines, period
from binarydyn.plots.style import AFTER, INK, LATER, PAGE, SMALL
from binarydyn.prediction import Prediction, predict
from binarydyn.scenario import load, varied

HERE = Path(__file__).parent
PAIR = varied(
    load(HERE.parent / "07_which_moonlets_tumble" / "pair.toml"),
    {"velocity_change.normal_mm_s": 0.0, "secondary.axis_ratio_bc": 1.1, "simulation.days_after": 365.25},
)
SHOWN, RATIOS = 1.3, (1.02, 1.05, 1.1, 1.15, 1.2, 1.25, 1.3, 1.35, 1.38)
WINDOWS_DAYS = np.array([5.0, 7.0, 10.0, 14.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0])
METHODS = {"crossings": (LATER, "mean spacing of passages"), "weighted_fit": (AFTER, "weighted fit (default)")}
STARTS = 60


def modes(result: Prediction) -> dict[str, tuple[float, float]]:
    """(period in days, amplitude in s) of the strongest slow and fast line of the cycles; slow: above ten days.

    Cycles are counted, so a line's rate is known only modulo one a cycle: libration shows as its beat with the orbit.
    """
    cycle = np.arange(len(result.after.single_orbit_periods_s), dtype=float)
    cycle_days = result.after.period.value_h / 24.0
    found = [
        (2.0 * np.pi / line.rate_rad_s * cycle_days, line.amplitude)
        for line in lines(cycle, result.after.single_orbit_periods_s, 4)
    ]
    return {
        name: max((line for line in found if (line[0] > 10.0) == slow), key=lambda line: line[1], default=(np.nan, 0.0))
        for name, slow in (("fast", False), ("slow", True))
    }


def expected_days(result: Prediction) -> tuple[float, float]:
    """What should make the two modes: the beat of libration with the orbit, and one turn of the pericentre."""
    cycle_h, libration_h = result.after.period.value_h, result.lines.libration_h
    turns = cycle_h / libration_h if libration_h else np.nan  # a cycle; whole ones do not show in a count of cycles
    return cycle_h / 24.0 / abs(turns - np.round(turns)), 360.0 / result.after.shape.apsidal_precession_deg_day


def part(run: Trajectory, start_days: float, days: float) -> Trajectory:
    i, j = np.searchsorted(run.time_s, np.array([start_days, start_days + days]) * DAY_S)
    return replace(run, time_s=run.time_s[i:j], y=run.y[i:j])


def spread(run: Trajectory, method: str, days: float) -> np.ndarray:
    """(starts,) the period, s, of windows of one length that begin on evenly spaced days of the year."""
    begins = np.linspace(0.0, run.days - days - 1.0, STARTS)
    return np.array([period(part(run, begin, days), method).value_h * HOUR_S for begin in begins])


def main() -> None:
    begin = time.perf_counter()
    results = {ratio: predict(varied(PAIR, {"secondary.axis_ratio_ab": ratio})) for ratio in RATIOS}
    table = {ratio: (modes(r), expected_days(r), r) for ratio, r in results.items() if not r.chaos.chaotic}
    print("a/b   fast mode d, s    beat d   slow mode d, s   pericentre d  range s  libration deg")
    for ratio, (found, expected, r) in table.items():
        (fast_d, fast_s), (slow_d, slow_s) = found["fast"], found["slow"]
        size, swing = np.ptp(r.after.single_orbit_periods_s), r.after.attitude.libration_max_deg
        print(f"{ratio:.2f}  {fast_d:7.3f} {fast_s:6.1f}   {expected[0]:7.3f}  {slow_d:7.2f} {slow_s:6.1f}   "
              f"{expected[1]:8.2f}  {size:7.1f}  {swing:6.1f}")  # fmt: skip
    print("left out as chaotic: a/b", [ratio for ratio in RATIOS if ratio not in table])
    shown = results[SHOWN]
    whole = shown.after.period.value_s
    print(f"mean over the year at a/b {SHOWN}: {whole / HOUR_S:.6f} h; change {shown.period_change_s / 60.0:.3f} min")
    off = {m: [spread(shown.after, m, days) - whole for days in WINDOWS_DAYS] for m in METHODS}
    for days, *both in zip(WINDOWS_DAYS, *off.values(), strict=True):
        print(f"{days:5.0f} d: " + "; ".join(f"{m} {x.min():+.2f} .. {x.max():+.2f} s, from t0 {x[0]:+.2f}"
                                              for m, x in zip(off, both, strict=True)))  # fmt: skip
    draw(shown, table, off)
    print(f"{time.perf_counter() - begin:.0f} s")


def draw(shown: Prediction, table, off) -> None:
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(PAGE):
        figure = Figure(figsize=(6.7, 5.4), layout="constrained")
        ax = figure.subplot_mosaic([["cycles", "cycles"], ["modes", "windows"]])
        mean, values = shown.after.period.value_s, shown.after.single_orbit_periods_s
        day = (np.arange(len(values)) + 0.5) * mean / DAY_S
        ax["cycles"].plot(day, values - mean, color=AFTER.colour, linewidth=0.5, marker="o", markersize=1.3)
        ax["cycles"].set(xlabel="days after the impact", ylabel="cycle minus mean, s", xlim=(0, day[-1]))
        ax["cycles"].set_title(f"period of each cycle, a/b = {SHOWN}, b/c = 1.1")
        words = {"textcoords": "offset points", "fontsize": SMALL, "ha": "center"}
        for name, pen in (("fast", LATER), ("slow", AFTER)):
            days, seconds = np.array([found[name] for found, _, _ in table.values()]).T
            ax["modes"].plot(list(table), seconds, **pen.line(), marker=pen.marker, markersize=4.0)
            for ratio, d, s in list(zip(table, days, seconds, strict=True))[::2]:
                ax["modes"].annotate(
                    f"{d:.3g} d", (ratio, s), (0, 4), textcoords="offset points", fontsize=SMALL, ha="center"
                )
            ax["modes"].plot([], [], **pen.line(), marker=pen.marker, label=f"{name} mode")
        ax["modes"].set(xlabel="a/b", ylabel="amplitude, s", ylim=(0, 75))
        ax["modes"].legend(frameon=False, fontsize=SMALL, loc="upper left", ncols=2)
        for method, (pen, words) in METHODS.items():
            worst = [np.abs(x).max() for x in off[method]]
            ax["windows"].loglog(WINDOWS_DAYS, worst, **pen.line(), marker=pen.marker, markersize=4.0, label=words)
        ax["windows"].axhline(1.0, color=INK, linewidth=0.6, linestyle=":")
        ax["windows"].set(xlabel="length of the window, days", ylabel="worst error over all starts, s")
        ax["windows"].legend(frameon=False, fontsize=SMALL)
        figure.savefig(HERE / "period.png", dpi=150)


if __name__ == "__main__":
    main()
