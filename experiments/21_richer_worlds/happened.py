"""The same worlds by the full motion: does `reconstruct` hold change and beta, and does it say so where it does not?

    python experiments/21_richer_worlds/happened.py FIRST COUNT CSV [rows..]

One line a truth, appended to a CSV file; `happened.py CSV` alone prints the table.
"""

import csv
import sys
import time
from pathlib import Path

import numpy as np
from run import ROWS, SHARES
from truths import DAYS, truth

import binarydyn as bd
from binarydyn.errors import BinarydynError
from binarydyn.observing.event_times import reference_for
from binarydyn.observing.synthetic_times import Observing, synthesised
from binarydyn.reconstruction.answers.told import Reconstruction
from binarydyn.reconstruction.answers.weighing import against_truth
from binarydyn.reconstruction.posterior import found_in

BETA = "momentum_transfer.beta"
DRAWS = 150
NOT_EXPLAINED = "does not explain"


def tried(reference, name: str, number: int) -> dict:
    begun = time.process_time()
    one = truth(reference, ROWS[name], number)
    found = found_in(bd.example(), one.mids, DRAWS, number)
    done = Reconstruction(bd.example(), found)
    row = {"row": name, "number": number, "events": len(one.mids), "effective": done.effective, "k_hat": done.k_hat}
    row |= {"p": done.predictive_p, "says_so": any(NOT_EXPLAINED in line for line in done.warnings)}
    row |= {"why": done.why_not, "scale": found.grid.moments("scale")[0], "tau_s": found.grid.moments("tau_s")[0]}
    for what, draws, value in (
        ("change", found.data.events.change_s(found.weighted.u), one.orbit.change_s),
        ("beta", done.columns[BETA], one.beta),
    ):
        told = against_truth(value, draws, done.weight)
        row |= dict(zip((f"below {what}", f"error {what}", f"sd {what}"), told, strict=True))
    return row | {"cpu_s": time.process_time() - begun}


def main(first: int, count: int, path: str, names: list[str]) -> None:
    base, place = bd.example(), Path(path)
    reference = reference_for(base, synthesised(base, DAYS, Observing(noise_s=0.0), 0))
    for number in range(first, first + count):
        for name in names or ROWS:
            try:
                row = tried(reference, name, number)
            except BinarydynError as error:
                print(name, number, type(error).__name__, error, flush=True)
                continue
            new = not place.exists()
            with place.open("a", newline="") as file:
                writer = csv.DictWriter(file, list(row))
                if new:
                    writer.writeheader()
                writer.writerow(row)


def table(path: str) -> None:
    with open(path, newline="") as file:
        rows = list(csv.DictReader(file))
    print("| in the truth | truths (draws hold) | change, s | beta | says so |\n|---|---|---|---|---|")
    for name in dict.fromkeys(row["row"] for row in rows):
        some = [row for row in rows if row["row"] == name]
        held = [row for row in some if not row["why"]]
        told = []
        for what in ("change", "beta"):
            below, error, sd = (np.array([float(r[f"{k} {what}"]) for r in held]) for k in ("below", "error", "sd"))
            shares = "/".join(f"{100.0 * np.mean(np.abs(2.0 * below - 1.0) < share):.0f}" for share in SHARES)
            told.append(f"{shares}; {error.mean():+.2g}, {np.sqrt(np.mean(error**2)):.2g}, {np.median(sd):.2g}")
        says = 100.0 * np.mean([row["says_so"] == "True" for row in some])
        print(f"| {name} | {len(some)} ({len(held)}) | {' | '.join(told)} | {says:.0f} % |")


if __name__ == "__main__":
    if len(sys.argv) == 2:
        table(sys.argv[1])
    else:
        main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3], sys.argv[4:])
