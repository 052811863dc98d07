"""Do intervals of what `reconstruct` tells hold the truth?  One line a truth, appended to a CSV file.

python experiments/20_posterior/run.py PAIR CADENCE FIRST COUNT [CSV]

Truths are drawn from the priors of the unknowns, beta evenly from 0.7 to 1.25 of the nominal one (and within these
bounds in the analysis); contacts by the search of the full package, the motion by its adaptive integrator.
"""

import csv
import math
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from binarydyn.constants import DAY_S
from binarydyn.dynamics import State, simulate
from binarydyn.errors import BinarydynError
from binarydyn.impact import impact_on
from binarydyn.observables.orbit import orbit_shape
from binarydyn.observing.synthetic_times import Observing, observed
from binarydyn.prediction.windows import periods_s
from binarydyn.reconstruction.answers.shapes import CHANGE
from binarydyn.reconstruction.answers.told import Reconstruction
from binarydyn.reconstruction.answers.weighing import against_truth
from binarydyn.reconstruction.posterior import found_in
from binarydyn.reconstruction.runs import GuessedMotion
from binarydyn.reconstruction.unknowns import FREE_MODES, TURNS, Unknowns
from binarydyn.relaxed.start import start
from binarydyn.scenario import example, varied
from binarydyn.sky.geometry import Sight, Sky
from binarydyn.timing.mid_times import MidTimes, mid_times_of, nights_of

DAYS = 14.0
BETA = "momentum_transfer.beta"
BOUNDS = (0.7, 1.25)
PAIRS = {
    "pair": example(),
    "elongated": example().replace({"secondary.semi_axes_m": [140.0, 95.0, 86.0]}),
    "eccentric": example(),
    "tumbling": example().replace({"momentum_transfer.beta": 7.0}),
}
BEFORE, ANGLE_DEG = 0.01, 45.0
"""Eccentricity before the impact of the truths of "eccentric", and by how much the pericentre turns from one to the
next."""
CADENCES = {"all": Observing(60.0), "nights": Observing(42.0, 42.0), "few": Observing(60.0)}
SEEN = ("eccentricity_after", "apsidal_precession_after_deg_day")
DRAWS = 250
SEED = 20261201


def truth_of(pair, number: int, before: float = 0.0):
    """u (p,) of a truth, its scenario, and random numbers for its events; before: its eccentricity before the impact,
    at an angle by its number, where it is not drawn."""
    random = np.random.default_rng([SEED, number])
    asked = Unknowns.of(pair)
    u = np.where(np.isfinite(asked.prior_sigma_u), asked.prior_sigma_u, 0.0) * random.standard_normal(len(asked.names))
    i = asked.index(BETA)
    low, high = (share * asked.centre[i] for share in BOUNDS)
    u[i] = (random.uniform(low, high) - asked.centre[i]) / asked.scale[i]
    if before:
        angle = math.radians(ANGLE_DEG * number)
        for name, value in (("e_cos", before * math.cos(angle)), ("e_sin", before * math.sin(angle))):
            u[asked.index(name)] = (value - asked.centre[asked.index(name)]) / asked.scale[asked.index(name)]
    return asked, u, random


def pair_of(pair, asked, u):
    """The truth as a scenario, its system just before the impact, and the impact; free modes move its relaxed state."""
    motion = GuessedMotion(pair, asked, (1.0, 1.0))
    inputs, _ = motion.inputs(asked.value(u[None]))
    changes = {key: float(column[0]) for key, column in inputs.columns.items() if key not in (*TURNS, *FREE_MODES)}
    scenario = varied(pair, changes)
    system = replace(start(scenario).system, state=State.from_vector(motion.runs(u[None]).y_before[:, 0]))
    return scenario, system, impact_on(system, scenario)


def events_of(scenario, system, hit, cadence: str, random):
    """Contacts of both windows by the full search, those of the cadence, with errors; and the run after the impact."""
    sky = Sky.of(scenario)
    sight = Sight(sky, -DAYS * DAY_S - 2e4, DAYS * DAY_S + 2e4)
    before = simulate(system, -DAYS, every_minutes=5.0)
    after = simulate(hit.system, DAYS, state=hit.state, every_minutes=5.0)
    parts = [mid_times_of(run, sight, scenario.observer.sunlight) for run in (before, after)]
    time_s = [sight.left_s(part.seen_s) for part in parts]
    kept = [np.flatnonzero(side) for side in (time_s[0] < 0.0, time_s[1] >= 0.0)]
    if cadence == "few":
        kept = [np.sort(random.choice(at, count, False)) for at, count in zip(kept, (5, 6), strict=True)]
    if cadence == "nights":
        hour = random.uniform(0.0, 24.0)
        kept = [at[((part.seen_s[at] / 3600.0 - hour) % 24.0) < 7.0] for at, part in zip(kept, parts, strict=True)]
    both = [part.chosen(at) for part, at in zip(parts, kept, strict=True)]
    columns = ("kind", "body", "seen_s", "timed")
    joined = {name: np.concatenate([getattr(part, name) for part in both]) for name in columns}
    whole = MidTimes(**joined, group=nights_of(joined["seen_s"])).sorted()
    return observed(whole, CADENCES[cadence], random), after


def tried(pair, cadence: str, number: int, before: float = 0.0) -> dict:
    """One truth: ranks of the truth among the draws, their sd and error, what the draws are worth."""
    row = {"number": number, "status": "completed"}
    try:
        asked, u, random = truth_of(pair, number, before)
        scenario, system, hit = pair_of(pair, asked, u)
        mids, after = events_of(scenario, system, hit, cadence, random)
    except BinarydynError as error:
        return row | {"status": f"no truth: {error}"}
    begun, cpu = time.time(), time.process_time()
    nominal = asked.centre[asked.index(BETA)]
    try:
        found = found_in(pair, mids, DRAWS, number, bounds=tuple(share * nominal for share in BOUNDS))
    except BinarydynError as error:
        return row | {"status": f"no fit: {error}"}
    done = Reconstruction(pair, found)
    row |= {"cpu_s": time.process_time() - cpu, "wall_s": time.time() - begun, "events": len(mids)}
    row |= {"effective": done.effective, "k_hat": done.k_hat, "runs": found.conditional.runs, "why": done.why_not}
    row |= {
        "chaotic": done.chaotic_share,
        "horizon_s": found.horizon_s,
        "p": done.predictive_p,
        "tau_s": found.grid.moments("tau_s")[0],
        "scale": found.grid.moments("scale")[0],
    }
    alone = done.by_change_alone
    row |= {"alone_sd": alone["sigma"] if alone else math.nan}
    windows = dict(zip(("simulation.days_before", "simulation.days_after"), found.data.motion.days, strict=True))
    periods = periods_s(scenario.replace(windows), system, hit)
    truth = dict(zip(asked.names, asked.value(u[None])[0], strict=True)) | {CHANGE: periods[1] - periods[0]}
    shape = orbit_shape(after)
    rate = shape.apsidal_precession_deg_day
    truth |= dict(zip(SEEN, (shape.eccentricity, math.nan if rate is None else rate), strict=True))
    for name, value in truth.items():
        told = against_truth(value, done.columns[name], done.weight)
        row |= dict(zip((f"below {name}", f"error {name}", f"sd {name}"), told, strict=True))
    return row


def main(pair: str, cadence: str, first: int, count: int, path: str = "") -> None:
    place = Path(path or f"{pair}_{cadence}.csv")
    for number in range(first, first + count):
        row = tried(PAIRS[pair], cadence, number, BEFORE if pair == "eccentric" else 0.0)
        print(
            number, row["status"], *(f"{row.get(k, math.nan):.2f}" for k in ("effective", "k_hat", "cpu_s")), flush=True
        )
        if row["status"] == "completed":
            new = not place.exists()
            with place.open("a", newline="") as file:
                writer = csv.DictWriter(file, list(row))
                if new:
                    writer.writeheader()
                writer.writerow(row)
        else:
            with place.with_suffix(".failed").open("a") as file:
                file.write(f"{number} {row['status']}\n")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]), *sys.argv[5:6])
