"""Nine ways to time the events of the built-in pair and of one with a long secondary: do intervals of the change hold?

    python experiments/13_round_trip/two_pairs.py [truths] [first] [pair] [rows..]

first: number of the first truth, so that others are drawn; pair: built-in, elongated or both.  Truths are simulated
once a pair and cadence (0.2 s each), and timed in every way (0.1 to 0.3 s each).
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from run import ELONGATED, NIGHTS

from binarydyn.observing.cadence import Cadence
from binarydyn.observing.coverage import coverages, trial_of
from binarydyn.observing.event_times import reference_for
from binarydyn.observing.reference import Reference
from binarydyn.observing.synthetic_times import Observing, synthesised, synthesised_nights
from binarydyn.observing.worlds import MEMBERS, worlds
from binarydyn.scenario import Scenario, example
from binarydyn.sky.dips import DIP_LAWS
from binarydyn.timing.exact import ExactOrbit
from binarydyn.timing.mid_times import MidTimes

SEED = 20261130
LATE_S = 300.0
_TOGETHER = 8
NIGHTLY = "nights of 7 h, 42 + 42 s"

Chosen = Callable[[MidTimes, Reference], MidTimes]


def every(mids: MidTimes, reference: Reference) -> MidTimes:
    return mids


def few(mids: MidTimes, reference: Reference) -> MidTimes:
    """5 events before t0 and 6 after it, others for each truth."""
    random = np.random.default_rng([99, int(abs(mids.seen_s[0]) * 1e3) % (1 << 31)])
    late = mids.seen_s - reference.found.nominal.sight.light_time_s(mids.seen_s) >= 0.0
    chosen = [random.choice(np.flatnonzero(side), count, False) for side, count in ((~late, 5), (late, 6))]
    return mids.chosen(np.sort(np.concatenate(chosen)))


def late_primary(mids: MidTimes, reference: Reference) -> MidTimes:
    """The primary's events are all timed late, and nobody knows."""
    return mids.seen_at(mids.seen_s + np.where(mids.body == "primary", LATE_S, 0.0)).sorted()


def alone(mids: MidTimes, reference: Reference) -> MidTimes:
    return mids.chosen(mids.body == "secondary")


ROWS: dict[str, tuple[Observing, Chosen]] = {
    "all": (Observing(60.0), every),
    NIGHTLY: (Observing(42.0, 42.0), every),
    "5 + 6, sigma stated": (Observing(60.0), few),
    "5 + 6, none stated": (Observing(60.0, stated=0.0), few),
    "one in ten ten times off, robust": (Observing(60.0, outliers=0.1), every),
    "the primary's 300 s late": (Observing(60.0), late_primary),
    "sigma stated a third": (Observing(60.0, stated=1.0 / 3.0), every),
    "sigma stated three times": (Observing(60.0, stated=3.0), every),
    "the secondary's alone": (Observing(60.0), alone),
}


@dataclass(frozen=True)
class Truths:
    """Of one pair and cadence: number, orbit and exact times of each, the laws in turn."""

    reference: Reference
    drawn: list[tuple[int, ExactOrbit, MidTimes]]

    @classmethod
    def of(cls, pair: Scenario, nightly: bool, count: int, first: int = 0) -> "Truths":
        exact = Observing(noise_s=0.0)
        pair = pair.replace(NIGHTS) if nightly else pair
        mids = synthesised_nights(pair, exact, 0) if nightly else synthesised(pair, 14.0, exact, 0)
        reference = reference_for(pair, mids)
        cadence, drawn = Cadence.of(reference, mids), []
        for begin in range(first, first + count, _TOGETHER):
            number = min(_TOGETHER, first + count - begin)
            some = worlds(pair, reference.sky, *reference.days, number, MEMBERS + begin, least_share=0.0)
            for k, world in enumerate(some.members, begin):
                drawn.append((k, world.orbit, cadence.exact_in(world, DIP_LAWS[k % len(DIP_LAWS)])))
        return cls(reference, drawn)


def tell(truths: Truths, name: str) -> str:
    how, chosen = ROWS[name]
    trials = [
        trial_of(truths.reference, orbit, chosen(exact, truths.reference), how, (SEED, k), "robust" in name)
        for k, orbit, exact in truths.drawn
    ]
    change, e, turning = coverages(trials)
    shares = ["/".join(f"{100.0 * share:.0f}" for share in one.covered) for one in (change, e, turning)]
    bias = f"{change.bias:+.2f} +- {change.bias_sigma:.2f}"
    return (
        f"{shares[0]}, {bias}, {change.rms:.2f}, {change.median_sigma:.2f} ({change.verdict}) | "
        f"{shares[1]} ({e.verdict}) | {shares[2]} ({turning.verdict}) | {change.count}"
    )


def main(count: str = "200", first: str = "0", pair: str = "both", *names: str) -> None:
    pairs = {"built-in": example(), "elongated": example().replace(ELONGATED)}
    for title in pairs if pair == "both" else (pair,):
        for nightly in (False, True):
            some = [name for name in names or ROWS if (name == NIGHTLY) == nightly]
            truths = Truths.of(pairs[title], nightly, int(count), int(first)) if some else None
            for name in some:
                print(f"| {name} | {title} | {tell(truths, name)} |", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
