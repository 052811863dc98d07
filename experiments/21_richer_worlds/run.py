"""Do intervals hold in worlds that the fit does not know?  One ingredient at a time, and all together.

    python experiments/21_richer_worlds/run.py [truths] [rows..]

Prints for each row how often intervals of 50, 68, 90 and 95 % hold the truth, bias, rms error and median sigma of the
period change, the same of the eccentricity, and in how many fits the result itself says that the model does not hold.
"""

import sys
from dataclasses import replace

import numpy as np
from truths import DAYS, Ingredients, Truth, truth

import binarydyn as bd
from binarydyn.errors import BinarydynError
from binarydyn.observing.event_times import TimingFit, fitted_times, reference_for
from binarydyn.observing.reference import Reference
from binarydyn.observing.synthetic_times import Observing, synthesised

SHARES = (0.5, 0.68, 0.9, 0.95)
ALL = Ingredients(0.03, 0.4, 0.3, 0.003, 2.0, 2.0, 0.004, 30.0, 0.7)
ROWS = {
    "nothing": Ingredients(),
    "lumps of 3 %": Ingredients(lumps=0.03),
    "another law (grains of albedo 0.4)": Ingredients(grain=0.4),
    "spots of 30 %": Ingredients(spots=0.3),
    "e before 0.003": Ingredients(eccentricity=0.003),
    "e before 0.01": Ingredients(eccentricity=0.01),
    "tilted primary 0.5 deg": Ingredients(tilt_deg=0.5),
    "tilted primary 2 deg": Ingredients(tilt_deg=2.0),
    "rocking secondary 2 deg": Ingredients(rocking_deg=2.0),
    "0.4 % of the secondary's mass lost": Ingredients(lost_mass=0.004),
    "30 s a night, 0.7 of it the next night": Ingredients(night_s=30.0, from_night_to_night=0.7),
    "all together": ALL,
    "all but the tilt": replace(ALL, tilt_deg=0.0),
}
SAYS_SO = "does not hold"


def answers(reference: Reference, what: Ingredients, count: int) -> list[tuple[Truth, TimingFit]]:
    """Of truths that can be simulated and fitted; the others are counted by what is missing."""
    found = []
    for number in range(count):
        try:
            one = truth(reference, what, number)
            found.append((one, fitted_times(reference, one.mids)))
        except BinarydynError as error:
            print(f"  truth {number}: {error}", file=sys.stderr)
    return found


def told(found: list[tuple[Truth, TimingFit]], count: int) -> str:
    columns = []
    for of_truth, of_fit in (
        (lambda one: one.orbit.change_s, lambda fit: fit.change),
        (lambda one: one.orbit.eccentricity, lambda fit: fit.fit.eccentricity),
    ):
        truths = np.array([of_truth(one) for one, _ in found])
        told = [of_fit(fit) for _, fit in found]
        away = np.array([one.mean for one in told]) - truths
        middle = np.array([abs(2.0 * one.cdf(value) - 1.0) for one, value in zip(told, truths, strict=True)])
        shares = "/".join(f"{100.0 * np.mean(middle < share):.0f}" for share in SHARES)
        digits = ".2f" if abs(truths).max() > 1.0 else ".4f"
        sigma = float(np.median([one.sigma for one in told]))
        columns.append(f"{shares}; {away.mean():+{digits}}, {np.sqrt(np.mean(away**2)):{digits}}, {sigma:{digits}}")
    unsure = np.mean([any(SAYS_SO in line for line in fit.warnings) for _, fit in found])
    return f"{len(found)} of {count} | {' | '.join(columns)} | {100.0 * unsure:.0f} %"


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    base = bd.example()
    reference = reference_for(base, synthesised(base, DAYS, Observing(noise_s=0.0), 0))
    print("| in the truth, not in the fit | truths | change, s: shares; bias, rms, sigma | e | says so |")
    print("|---|---|---|---|---|")
    for name in sys.argv[2:] or ROWS:
        print(f"| {name} | {told(answers(reference, ROWS[name], count), count)} |", flush=True)


if __name__ == "__main__":
    main()
