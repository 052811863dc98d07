"""How long does beta take from a measured period change, and where does the time go?

    python run.py [draws ...]

The 2022 case backwards (9 numbers uncertain with the measurement) by the parts of `infer`: the simulations behind the
relation, the draws, their inversion, the report.  Once as it stands, where the ejecta's axis is given and only its
direction is drawn, and once with the axis along the normal of a secondary whose axes are drawn, so that each draw finds
its own site.  Times are wall-clock seconds of one process, beside its processor seconds.
"""

import argparse
import sys
import time
from pathlib import Path

from binarydyn.inference.infer import inverted, prior
from binarydyn.inference.linearised import propagated
from binarydyn.inference.posterior_report import report
from binarydyn.inference.surrogate_runs import related
from binarydyn.scenario import Scenario, load

CASE = Path(__file__).parents[2] / "reference_cases" / "impact_2022_posterior.toml"
COUNTS = (10_000, 100_000)


def along_the_normal() -> Scenario:
    """The same case, the ejecta along the surface normal, the secondary's axis ratio drawn in place of the
    direction."""
    data = load(CASE).to_dict()
    del data["momentum_transfer"]
    names = {key: value for key, value in data["sampling"]["quantities"].items() if not key.startswith("momentum")}
    names |= {"secondary.axis_ratio_bc": {"normal": [1.5, 0.05]}, "impactor.speed_km_s": {"normal": [6.1449, 0.0003]}}
    return Scenario.from_dict(data | {"sampling": {"quantities": names}, "expected": []}, "along the normal")


class Watch:
    """Lap times, wall-clock and processor, as a line of a table."""

    def __init__(self):
        self.lap = time.perf_counter(), time.process_time()
        self.whole = self.lap

    def __call__(self, part: str, since=None) -> None:
        """Print the time since the last call."""
        now = time.perf_counter(), time.process_time()
        wall, processor = (new - old for new, old in zip(now, since or self.lap, strict=True))
        print(f"| {part} | {wall:.2f} | {processor:.2f} |")
        self.lap = now


def timed(scenario: Scenario, count: int) -> None:
    """One posterior, part by part."""
    change, sigma = load(CASE).observed.period_change_s, load(CASE).observed.sigma_s
    watch = Watch()
    surrogate = related(scenario, change, sigma)
    watch(f"{surrogate.runs} starts, hits and 60-day windows, each window with four neighbouring trajectories")
    draws = prior(surrogate, count)
    watch(f"{count} draws of the inputs and what follows from them")
    posterior = inverted(surrogate, draws, change, sigma)
    watch("the velocity change and beta in each")
    found = report(posterior)
    propagated(posterior)
    watch("intervals, lines, derivatives")
    watch("all", watch.whole)
    beta = found["beta_at_density"]["2400"]
    print(f"\nbeta(2400) {beta['median']:.3f}, 68 % {beta['low_68']:.3f} .. {beta['high_68']:.3f}")
    near, more = found["draws_near_chaotic"], found["chaotic_error_s"]
    print(f"relation off by {surrogate.error_s:.2f} s, {more:.2f} s more in {near} draws near chaotic runs")
    print(f"{found['draws_by_status']}\n")


def main() -> int:
    """Warm up, then both cases at each number of draws."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("draws", nargs="*", type=int, default=COUNTS)
    chosen = parser.parse_args().draws
    inverted(surrogate := related(load(CASE), -1980.0, 20.0), prior(surrogate, 100), -1980.0, 20.0)
    for name, scenario in (("axis of the ejecta given", load(CASE)), ("axis along the normal", along_the_normal())):
        for count in chosen:
            print(f"| {name} | wall, s | processor, s |\n|---|---|---|")
            timed(scenario, count)
    return 0


if __name__ == "__main__":
    sys.exit(main())
