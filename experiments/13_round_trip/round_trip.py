"""Does the whole chain give back what was put in: inputs and beta drawn, hit, events with noise, fit, inference.

Each member draws its true inputs from [sampling] and its true beta from a range, is relaxed and calibrated, hit and
run; mid-times of its events get noise, are fitted (timing/fit.py) and inverted by one emulator that all share.
An interval is honest where it covers the truth as often as it says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from binarydyn.constants import DAY_S, HOUR_S
from binarydyn.dynamics import simulate
from binarydyn.errors import BinarydynError
from binarydyn.impact import impact_on
from binarydyn.inference.infer import inverted, prior
from binarydyn.inference.prior import Draws
from binarydyn.inference.surrogate import Surrogate
from binarydyn.inference.surrogate_runs import related
from binarydyn.kinds import sure
from binarydyn.observables import period
from binarydyn.observables.averages import intervals
from binarydyn.observing.event_times import expected, own_events, sky_and_start, timing_fit, with_noise
from binarydyn.relaxed.start import start
from binarydyn.scenario import Scenario, varied
from binarydyn.scenario.draws import drawn
from binarydyn.sky.events import KINDS
from binarydyn.sky.geometry import Sight
from binarydyn.timing.fit import timing
from binarydyn.timing.mid_times import readings

BETA = "momentum_transfer.beta"


@dataclass(frozen=True)
class Returned:
    """One member: the truth, and quantiles of what was inferred (see observables.averages.intervals).

    status: `completed`, or why there is no inference.  true_change_s: simulated, which the fit does not know; change_s
    and change_sigma_s: as fitted.
    """

    status: str
    beta: float
    dv_mm_s: float
    true_change_s: float
    change_s: float
    change_sigma_s: float
    of_beta: dict[str, float]
    of_dv_mm_s: dict[str, float]

    def covers(self, name: str, percent: int) -> bool:
        """Whether the interval of `beta` or `dv_mm_s` holds the truth."""
        told = getattr(self, f"of_{name}")
        return told[f"low_{percent}"] <= getattr(self, name) <= told[f"high_{percent}"]


@dataclass(frozen=True)
class Trip:
    """What all members share; `round_trips` makes them."""

    scenario: Scenario
    sight: Sight
    surrogate: Surrogate
    draws: Draws
    days: float
    noise_s: float
    model_error_s: float
    kinds: Sequence[str]


def prepared(
    scenario: Scenario,
    betas: tuple[float, float],
    days: float,
    noise_s: float,
    count: int,
    kinds: Sequence[str] = KINDS,
) -> Trip:
    """The relation over the changes that betas of a range make, and `count` draws of the prior.

    Events are seen for `days` before and after t0, of the kinds given.  The fit's model error is that of the stated
    scenario, as `infer --events` adds it.
    """
    sky, begun = sky_and_start(scenario)
    sight = Sight(sky, -days * DAY_S - 1.0, days * DAY_S + 1.0)
    exact = own_events(scenario, begun, sight, days, kinds)
    nominal = timing_fit(scenario, with_noise(exact, noise_s, np.random.default_rng(0)))
    low, high = ((beta / scenario.momentum_transfer.beta) * nominal.fit.change_s for beta in betas)
    surrogate = related(scenario, 0.5 * (low + high), 0.2 * abs(high - low))
    error = abs(nominal.bias_change_s or 0.0)
    return Trip(scenario, sight, surrogate, prior(surrogate, count), days, noise_s, error, kinds)


def round_trips(trip: Trip, betas: tuple[float, float], seeds: Sequence[int]) -> Iterator[Returned]:
    """One row a seed, in their order."""
    for seed in seeds:
        random = np.random.default_rng(seed)
        inputs = drawn(sure(trip.scenario.sampling), ("",), 1, random)
        beta = float(random.uniform(*betas))
        yield _member(trip, {name: float(x[0]) for name, x in inputs.items()}, beta, random)


def _member(trip: Trip, inputs: dict[str, float], beta: float, random: np.random.Generator) -> Returned:
    nothing: dict[str, float] = {}
    dv, exact, change, sigma = np.nan, np.nan, np.nan, np.nan
    try:
        true = varied(trip.scenario, inputs | {BETA: beta})
        begun = start(true)
        hit = impact_on(begun.system, true)
        dv = hit.dv_along_track_mm_s
        after = simulate(hit.system, trip.scenario.simulation.days_after, state=hit.state)
        exact = period(after).value_s - begun.period_h * HOUR_S
        mids = with_noise(own_events(true, begun, trip.sight, trip.days, trip.kinds), trip.noise_s, random)
        fit = timing(readings(mids, trip.sight), mids.sigma_s, None, None, expected(trip.surrogate.nominal)).fit
        change, sigma = fit.change_s, float(np.hypot(fit.change_sigma_s, trip.model_error_s))
        found = inverted(trip.surrogate, trip.draws, change, sigma)
    except BinarydynError as error:
        return Returned(str(error), beta, dv, exact, change, sigma, nothing, nothing)
    well = found.well
    if not well.any():
        return Returned("no draw counts", beta, dv, exact, change, sigma, nothing, nothing)
    return Returned(
        "completed", beta, dv, exact, change, sigma, intervals(found.beta[well]), intervals(found.dv_mm_s[well])
    )
