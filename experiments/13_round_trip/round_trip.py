"""Does the whole chain give back what was put in: inputs and beta drawn, hit, dips with noise, fit, inference.

Each member draws its true inputs from [sampling] and its true beta from a range, is relaxed and calibrated, hit and
run; middles of its dips, by either scattering law in turn, get noise, are fitted with simulated systems that the
members do not know, and are inverted by one emulator that all share.  An interval is honest where it covers the truth
as often as it says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from binarydyn.errors import BinarydynError
from binarydyn.inference.infer import inverted, prior
from binarydyn.inference.prior import Draws
from binarydyn.inference.surrogate import Surrogate
from binarydyn.inference.surrogate_runs import related
from binarydyn.kinds import sure
from binarydyn.observables.averages import intervals
from binarydyn.observing.cadence import Cadence
from binarydyn.observing.event_times import fitted_times, reference_for
from binarydyn.observing.reference import Reference
from binarydyn.observing.synthetic_times import Observing, observed, synthesised
from binarydyn.observing.worlds import World, worlds
from binarydyn.scenario import Scenario, varied
from binarydyn.scenario.draws import drawn
from binarydyn.sky.dips import DIP_LAWS
from binarydyn.sky.geometry import Sky

BETA = "momentum_transfer.beta"


@dataclass(frozen=True)
class Returned:
    """One member: the truth, and quantiles of what was inferred (see observables.averages.intervals).

    status: `completed`, or why there is no inference.  true_change_s: of the window of the data, which the fit does not
    know; change_s and change_sigma_s: as fitted.
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
    reference: Reference
    cadence: Cadence
    how: Observing
    surrogate: Surrogate
    draws: Draws


def prepared(
    scenario: Scenario, betas: tuple[float, float], days: float, how: Observing, count: int, few: int | None = None
) -> Trip:
    """The relation over the changes that betas of a range make, and `count` draws of the prior.

    Dips are seen for `days` before and after t0; few: so many of them on either side, at random.
    """
    exact = synthesised(scenario, days, Observing(noise_s=0.0), 0)
    if few:
        random = np.random.default_rng(few)
        sides = [np.flatnonzero(side) for side in (exact.seen_s < 0.0, exact.seen_s >= 0.0)]
        exact = exact.chosen(np.sort(np.concatenate([random.choice(side, few, replace=False) for side in sides])))
    reference = reference_for(scenario, exact)
    change = sure(reference.found).nominal.orbit.change_s
    low, high = ((beta / scenario.momentum_transfer.beta) * change for beta in betas)
    surrogate = related(scenario, 0.5 * (low + high), 0.2 * abs(high - low))
    return Trip(scenario, reference, Cadence.of(reference, exact), how, surrogate, prior(surrogate, count))


def round_trips(trip: Trip, betas: tuple[float, float], seeds: Sequence[int]) -> Iterator[Returned]:
    """One row a seed, in their order."""
    for seed in seeds:
        random = np.random.default_rng(seed)
        inputs = drawn(sure(trip.scenario.sampling), ("",), 1, random)
        beta = float(random.uniform(*betas))
        yield _member(trip, {name: float(x[0]) for name, x in inputs.items()} | {BETA: beta}, seed, random)


def _member(trip: Trip, inputs: dict[str, float], seed: int, random: np.random.Generator) -> Returned:
    nothing: dict[str, float] = {}
    beta, dv, exact, change, sigma = inputs[BETA], np.nan, np.nan, np.nan, np.nan
    try:
        world = _world(trip, inputs)
        dv, exact = world.impact.dv_along_track_mm_s, world.orbit.change_s
        times = trip.cadence.exact_in(world, DIP_LAWS[seed % len(DIP_LAWS)])
        found = fitted_times(trip.reference, observed(times, trip.how, random))
        change, sigma = found.change.mean, found.change.sigma
        told = inverted(trip.surrogate, trip.draws, change, sigma, found.change)
    except BinarydynError as error:
        return Returned(str(error), beta, dv, exact, change, sigma, nothing, nothing)
    well = told.well
    if not well.any():
        return Returned("no draw counts", beta, dv, exact, change, sigma, nothing, nothing)
    of_beta, of_dv = intervals(told.beta[well]), intervals(told.dv_mm_s[well])
    return Returned("completed", beta, dv, exact, change, sigma, of_beta, of_dv)


def _world(trip: Trip, inputs: dict[str, float]) -> World:
    """The true system, with the cycles of the nominal one."""
    true = varied(trip.scenario, inputs)
    return worlds(true, Sky.of(true), *trip.reference.days, 0, like=sure(trip.reference.found).nominal).nominal
