"""Nine ways to time the events of the built-in pair and of one with a long secondary: do intervals of the change hold?

python experiments/13_round_trip/two_pairs.py [truths] [rows..]
"""

import sys
from dataclasses import replace

import numpy as np
from run import ELONGATED, NIGHTS

from binarydyn.observing.cadence import Cadence
from binarydyn.observing.coverage import coverages, tried
from binarydyn.observing.event_times import reference_for
from binarydyn.observing.synthetic_times import Observing, synthesised, synthesised_nights
from binarydyn.scenario import Scenario, example

SEED = 20261130
LATE_S = 300.0


class Few(Cadence):
    """5 events before t0 and 6 after it, others for each truth."""

    def exact_in(self, world, law):
        mids = super().exact_in(world, law)
        random = np.random.default_rng([99, int(abs(mids.seen_s[0]) * 1e3) % (1 << 31)])
        late = mids.seen_s - world.sight.light_time_s(mids.seen_s) >= 0.0
        chosen = [random.choice(np.flatnonzero(side), count, False) for side, count in ((~late, 5), (late, 6))]
        return mids.chosen(np.sort(np.concatenate(chosen)))


class Late(Cadence):
    """The primary's events are all timed late, and nobody knows."""

    def exact_in(self, world, law):
        mids = super().exact_in(world, law)
        return replace(mids, seen_s=mids.seen_s + np.where(mids.body == "primary", LATE_S, 0.0)).sorted()


ROWS = {
    "all": (Observing(60.0), Cadence),
    "nights of 7 h, 42 + 42 s": (Observing(42.0, 42.0), Cadence),
    "5 + 6, sigma stated": (Observing(60.0), Few),
    "5 + 6, none stated": (Observing(60.0, stated=0.0), Few),
    "one in ten ten times off, robust": (Observing(60.0, outliers=0.1), Cadence),
    "the primary's 300 s late": (Observing(60.0), Late),
    "sigma stated a third": (Observing(60.0, stated=1.0 / 3.0), Cadence),
    "sigma stated three times": (Observing(60.0, stated=3.0), Cadence),
    "the secondary's alone": (Observing(60.0), Cadence),
}


def tell(pair: Scenario, name: str, count: int) -> str:
    how, cadence = ROWS[name]
    exact = Observing(noise_s=0.0)
    if "nights" in name:
        pair = pair.replace(NIGHTS)
        mids = synthesised_nights(pair, exact, 0)
    else:
        mids = synthesised(pair, 14.0, exact, 0)
    mids = mids.chosen(mids.body == "secondary") if "alone" in name else mids
    reference = reference_for(pair, mids)
    found = Cadence.of(reference, mids)
    trials = list(tried(reference, cadence(found.codes, found.mids), how, count, SEED, "robust" in name))
    change, e, _ = coverages(trials)
    shares = ["/".join(f"{100.0 * share:.0f}" for share in one.covered) for one in (change, e)]
    return f"{shares[0]}, {change.bias:+.2f}, {change.rms:.2f}, {change.median_sigma:.2f} | {shares[1]}"


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for name in sys.argv[2:] or ROWS:
        for pair in (example(), example().replace(ELONGATED)):
            print(f"| {name} | {tell(pair, name, count)} |", flush=True)


if __name__ == "__main__":
    main()
