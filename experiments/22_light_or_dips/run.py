"""Light itself, or the dips that are timed in it?  One line a truth, appended to a CSV file.

    python experiments/22_light_or_dips/run.py FIRST COUNT [CSV]

Light by `reconstruct --light` (weighted draws), the dips of the same light by `timing`; both from the nominal scenario.
"""

import csv
import sys
import time
from pathlib import Path

import numpy as np
from campaigns import BETA, BOUNDS, DAYS, Truth, truth

from binarydyn.errors import BinarydynError
from binarydyn.impact import impact_on
from binarydyn.observing.event_times import fitted_times, reference_for
from binarydyn.observing.synthetic_times import Observing, synthesised
from binarydyn.prediction.windows import periods_s
from binarydyn.reconstruction.answers.shapes import CHANGE
from binarydyn.reconstruction.answers.told import Reconstruction
from binarydyn.reconstruction.answers.weighing import against_truth
from binarydyn.reconstruction.light_fit import found_in_light
from binarydyn.relaxed.start import start
from binarydyn.scenario import example

DRAWS = 200


def from_light(one: Truth, number: int) -> dict:
    """Ranks of the truth among the draws, their sd and error, what the draws are worth."""
    wall, cpu = time.time(), time.process_time()
    nominal = example().momentum_transfer.beta
    bounds = tuple(share * nominal for share in BOUNDS)
    found = found_in_light(example(), one.light, draws=DRAWS, seed=number, bounds=bounds)
    done = Reconstruction(example(), found)
    row = {"cpu_s": time.process_time() - cpu, "wall_s": time.time() - wall, "effective": done.effective}
    row |= {"k_hat": done.k_hat, "stages": len(found.draws.stages), "p": done.predictive_p, "why": done.why_not}
    windows = dict(zip(("simulation.days_before", "simulation.days_after"), found.data.motion.days, strict=True))
    system = start(one.scenario).system
    before, after = periods_s(one.scenario.replace(windows), system, impact_on(system, one.scenario))
    truths = one.values | {CHANGE: after - before}
    for name, value in truths.items():
        told = against_truth(value, done.columns[name], done.weight)
        row |= dict(zip((f"below {name}", f"error {name}", f"sd {name}"), told, strict=True))
    change, sigma = done.fisher[CHANGE]
    return row | {"linear error": change - truths[CHANGE], "linear sigma": sigma, "change": truths[CHANGE]}


def from_dips(one: Truth, reference, change_s: float) -> dict:
    fit = fitted_times(reference, one.dips)
    row = {"dips": len(one.dips), "dip sigma_s": float(np.median(one.dips.sigma_s))}
    row |= {"dips error": fit.change.mean - change_s, "dips sigma": fit.change.sigma}
    return row | {"dips below": fit.change.cdf(change_s)}


def tried(number: int, reference) -> dict:
    try:
        one = truth(number)
        row = {"number": number} | from_light(one, number)
        return row | from_dips(one, reference, row["change"])
    except BinarydynError as error:
        return {"number": number, "failed": f"{type(error).__name__}: {error}"}


def main(first: int, count: int, path: str = "") -> None:
    place = Path(path or "light_or_dips.csv")
    reference = reference_for(example(), synthesised(example(), DAYS, Observing(noise_s=0.0), 0))
    for number in range(first, first + count):
        row = tried(number, reference)
        if "failed" in row:
            print(number, row["failed"], flush=True)
            continue
        print(number, *(f"{key} {row[key]:.3g}" for key in ("effective", "k_hat", "cpu_s", f"error {CHANGE}",
              f"sd {CHANGE}", "dips error", "dips sigma", f"error {BETA}", f"sd {BETA}")), flush=True)  # fmt: skip
        new = not place.exists()
        with place.open("a", newline="") as file:
            writer = csv.DictWriter(file, list(row))
            if new:
                writer.writeheader()
            writer.writerow(row)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), *sys.argv[3:4])
