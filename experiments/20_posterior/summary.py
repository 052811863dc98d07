"""The table of the README from the CSV files of run.py: python experiments/20_posterior/summary.py FILE.csv .."""

import csv
import sys
from pathlib import Path

import numpy as np

SHARES = (0.5, 0.68, 0.9, 0.95)
TOLD = {
    "period_change_s": "change",
    "momentum_transfer.beta": "beta",
    "secondary.semi_axes_m.0": "secondary a",
    "secondary.semi_axes_m.1": "secondary b",
    "primary.semi_axes_m.2": "primary c",
    "mutual_orbit.separation_m": "separation",
    "eccentricity_after": "e after",
    "apsidal_precession_after_deg_day": "apsidal rate",
}


def column(rows: list[dict], name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in rows])


def covered(rows: list[dict], name: str) -> str:
    below = column(rows, f"below {name}")
    return "/".join(f"{100.0 * np.mean(np.abs(2.0 * below - 1.0) < share):.0f}" for share in SHARES)


def main(paths: list[str]) -> None:
    for path in paths:
        rows = list(csv.DictReader(Path(path).open()))
        held = [row for row in rows if not row["why"]]
        effective, cpu = column(rows, "effective"), column(rows, "cpu_s")
        failed = Path(path).with_suffix(".failed")
        lines = failed.read_text().splitlines() if failed.exists() else []
        no_fit = sum("no fit" in line for line in lines)
        print(f"{Path(path).stem}: {len(rows)} truths ({len(lines) - no_fit} not physical), {no_fit} without a fit, "
              f"{len(rows) - len(held)} not told; cpu {np.median(cpu):.1f} (most {cpu.max():.1f}) s; "
              f"effective {np.median(effective):.0f} (least {effective.min():.0f}), above 100 in "
              f"{100.0 * np.mean(effective >= 100.0):.0f} %; k-hat {np.median(column(rows, 'k_hat')):.2f}; "
              f"events {np.median(column(rows, 'events')):.0f}")  # fmt: skip
        for name, word in TOLD.items():
            error, sd = column(held, f"error {name}"), column(held, f"sd {name}")
            print(f"  {word}: {covered(held, name)}, rms error {np.sqrt(np.mean(error**2)):.3g}, "
                  f"median sd {np.median(sd):.3g}, mean error {error.mean():+.2g}")  # fmt: skip
        ratio = column(held, "sd momentum_transfer.beta") / column(held, "alone_sd")
        print(f"  beta: sd over that from the change alone {np.median(ratio):.2f}")


if __name__ == "__main__":
    main(sys.argv[1:])
