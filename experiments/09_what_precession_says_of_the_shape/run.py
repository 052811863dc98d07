"""What does the precession after the impact of 2022 say of the secondary's shape?  Degree 4, in space:
precession.png."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from binarydyn.plots.style import AFTER, INK, LATER, PAGE, PITCH, SMALL
from binarydyn.prediction import predict
from binarydyn.scenario import Scenario, load, varied

HERE = Path(__file__).parent
BASE = load(HERE.parents[1] / "reference_cases" / "impact_2022_elongated.toml")
NUDGED = Scenario.from_text(BASE.text.replace("[velocity_change]", "[velocity_change]\nnormal_mm_s = 0.1"), "pair.toml")
VOLUME_M3 = float(np.prod(BASE.secondary.semi_axes_m))
RATIOS = np.linspace(1.0, 1.4, 33)
MEASURED = {"Naidu et al. 2024": (6.7, 0.2), "Scheirich et al. 2024": (7.3, 2.0 / 3.0)}  # deg/day, 1 sigma
UNCERTAIN = {"primary.semi_axes_m.2": 16.0, "mutual_orbit.separation_m": 17.0}
FLATNESS = 0.07  # of a/c, from 1.6 after the impact (Naidu et al. 2024) to 1.53 before it (Daly et al. 2023)


def numbers(scenario: Scenario, ab: float, ac: float = 1.6, **changes: float) -> dict:
    """The prediction for a secondary of these ratios at constant volume."""
    a = (VOLUME_M3 * ab * ac) ** (1.0 / 3.0)
    axes = {f"secondary.semi_axes_m.{i}": axis for i, axis in enumerate((a, a / ab, a / ac))}
    return predict(varied(scenario, axes | changes)).numbers()


def precession(scenario: Scenario, ab: float, ac: float = 1.6, **changes: float) -> float:
    return numbers(scenario, ab, ac, **changes)["apsidal_precession_after_deg_day"]


def selected(rate: float, ac: float = 1.6, **changes: float) -> float:
    """a/b at which the motion in the plane has this precession."""
    return brentq(lambda ab: precession(BASE, ab, ac, **changes) - rate, 1.1, 1.4, xtol=1e-4)


def with_errors(rate: float, sigma: float) -> tuple[float, dict[str, float]]:
    """a/b and what each uncertainty moves it by."""
    ab = selected(rate)
    moved = {"precession": selected(rate - sigma) - ab, "a/c": selected(rate, 1.6 + FLATNESS) - ab}
    for key, size in UNCERTAIN.items():
        moved[key] = selected(rate, **{key: float(_value(key)) + size}) - ab
    return ab, moved


def _value(key: str) -> float:
    return BASE.primary.semi_axes_m[2] if key.startswith("primary") else BASE.mutual_orbit.separation_m


def main() -> None:
    begin = time.perf_counter()
    curves = {
        "in the plane": [numbers(BASE, ab) for ab in RATIOS],
        "in space, a/c = 1.6": [numbers(NUDGED, ab) for ab in RATIOS],
        "in space, b/c = 1.1": [numbers(NUDGED, ab, 1.1 * ab) for ab in RATIOS],
    }
    print("a/b    " + "   ".join(curves))
    for k, ab in enumerate(RATIOS):
        cells = [
            (c[k]["apsidal_precession_after_deg_day"], c[k]["roll_max_after_deg"], c[k]["chaotic_after"])
            for c in curves.values()
        ]
        print(f"{ab:.4f} " + "   ".join(f"{p:7.3f} (roll {r:6.1f}, {'un' if u else ''}stable)" for p, r, u in cells))
    answers = {}
    for who, (rate, sigma) in MEASURED.items():
        ab, moved = with_errors(rate, sigma)
        total = float(np.sqrt(sum(x * x for x in moved.values())))
        answers[who] = (ab, total)
        print(f"{who}, {rate} +- {sigma:.2f} deg/day: a/b {ab:.4f} +- {total:.4f}; "
              + ", ".join(f"{key} {x:+.4f}" for key, x in moved.items()))  # fmt: skip
    for name, curve in curves.items():
        rates = np.array([n["apsidal_precession_after_deg_day"] for n in curve])
        for who, (rate, sigma) in MEASURED.items():
            print(f"{name}: within one sigma of {who}: a/b {RATIOS[np.abs(rates - rate) < sigma]}")
    draw(curves, answers)
    print(f"{time.perf_counter() - begin:.0f} s")


def draw(curves, answers) -> None:
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(PAGE):
        figure = Figure(figsize=(6.7, 4.2), layout="constrained")
        ax = figure.add_subplot()
        for (rate, sigma), shade in zip(MEASURED.values(), ("#9fb6c4", "#e3ddd0"), strict=True):
            ax.axhspan(rate - sigma, rate + sigma, color=shade, zorder=1 if sigma < 0.5 else 0, linewidth=0)
        ax.text(1.003, 6.7, "6.7 +- 0.2, Naidu et al. 2024", fontsize=SMALL, va="center")
        ax.text(1.003, 7.55, "7.3 +- 0.67, Scheirich et al. 2024", fontsize=SMALL, va="center")
        for (name, curve), pen in zip(curves.items(), (AFTER, LATER, PITCH), strict=True):
            rates = np.array([n["apsidal_precession_after_deg_day"] for n in curve])
            wild = np.array([n["chaotic_after"] for n in curve])
            ax.plot(RATIOS, rates, **pen.line(), label=name)
            ax.plot(RATIOS[~wild], rates[~wild], **pen.points(4.0))
            ax.plot(RATIOS[wild], rates[wild], **pen.points(4.0, hollow=True))
        ax.plot([], [], color=INK, marker="o", linestyle="none", markerfacecolor="white", label="hollow: chaotic")
        for (who, (ab, total)), height in zip(answers.items(), (1.3, 0.5), strict=True):
            ax.errorbar([ab], [height], xerr=total, color=INK, capsize=3, marker="|")
            ax.text(ab - total - 0.004, height, f"{MEASURED[who][0]} deg/day", fontsize=SMALL, ha="right", va="center")
        ax.set(xlabel="a/b of the secondary", ylabel="apsidal precession, deg/day", ylim=(0.0, 14.5))
        ax.legend(frameon=False, fontsize=SMALL, loc="lower left", bbox_to_anchor=(0.0, 0.14))
        figure.savefig(HERE / "precession.png", dpi=150)


if __name__ == "__main__":
    main()
