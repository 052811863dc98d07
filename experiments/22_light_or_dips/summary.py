"""The table of README.md from the CSV file of run.py: coverage at 50/68/90/95 %, bias, rms error, median sigma."""

import csv
import sys

import numpy as np

SHARES = (0.5, 0.68, 0.9, 0.95)
ROWS = {
    "period_change_s": "period change, s",
    "momentum_transfer.beta": "beta",
    "secondary.semi_axes_m.0": "secondary's a, m",
    "secondary.semi_axes_m.1": "secondary's b, m",
    "mutual_orbit.separation_m": "separation, m",
    "e_cos": "e cos w before",
    "e_sin": "e sin w before",
}


def told(below: np.ndarray, error: np.ndarray, sigma: np.ndarray) -> str:
    middle = np.abs(2.0 * below - 1.0)
    shares = "/".join(f"{100.0 * np.mean(middle < share):.0f}" for share in SHARES)
    return f"{shares} | {error.mean():+.3g} | {np.sqrt(np.mean(error**2)):.3g} | {np.median(sigma):.3g}"


def main(*paths: str) -> None:
    rows = []
    for path in paths:
        with open(path, newline="") as file:
            rows += list(csv.DictReader(file))
    held = [row for row in rows if not row["why"]]

    def of(some: list, name: str) -> np.ndarray:
        return np.array([float(row[name]) for row in some])

    print(f"{len(rows)} truths, of {len(held)} the draws hold")
    print("| what | truths | 50/68/90/95 % | bias | rms | median sigma |\n|---|---|---|---|---|---|")
    for name, words in ROWS.items():
        line = told(*(of(held, f"{part} {name}") for part in ("below", "error", "sd")))
        print(f"| light, {words} | {len(held)} | {line} |")
    dips = told(*(of(rows, f"dips {part}") for part in ("below", "error", "sigma")))
    print(f"| dips, period change, s | {len(rows)} | {dips} |")
    for name in ("effective", "k_hat", "p", "cpu_s", "wall_s", "dips", "dip sigma_s"):
        values = of(rows, name)
        print(f"{name}: median {np.median(values):.3g}, {values.min():.3g} to {values.max():.3g}")
    linear = of(rows, "linear error") / of(rows, "linear sigma")
    print(f"one Gaussian about the fit, change: rms {np.sqrt(np.mean(linear**2)):.2f} of its sigma")


if __name__ == "__main__":
    main(*sys.argv[1:])
