"""Backwards with all uncertainties: from a measured period change to the push along the track, and to beta.

For each draw of the uncertain inputs ([sampling]) and of the measurement, the simulated relation between push and
period change (relation.py) is solved for the push; then beta = 1 + [(M2/m) dv_t - U.t] / [(E.U)(E.t)]
(impact/leverage.py).  The relation's error is added to that of the measurement, and where the nearest run is
unstable or tumbles what such runs are off by: the period changes by seconds there, and leaving these draws out would
move the inputs from their prior, and beta with them, by more.  Draws nearest to a run that ends early are left out.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..constants import HOUR_S
from ..errors import ArgumentError, InputError
from ..kinds import NUMBER, WHOLE, takes
from ..prediction.solar_tide import left_out
from ..scenario import Scenario
from ..scenario.draws import drawn
from .along_track import LEAST_STRENGTH
from .posterior import DONE, ENDED, MISS, NO_PUSH, OUTSIDE, REFUSED, Posterior
from .prior import Draws, Solution, draws_at, solution
from .surrogate import Relation
from .surrogate_runs import BETA, related, seed_of

COUNTS = (100, 1_000_000)


@takes(scenario="Scenario", change_s=NUMBER, sigma_s=NUMBER, count=WHOLE)
def infer(
    scenario: Scenario,
    change_s: float,
    sigma_s: float,
    count: int = 10_000,
    seed: int | None = None,
    runs: int | None = None,
) -> Posterior:
    """Posterior of the push, and of beta where an impactor is given.

    change_s, sigma_s: measured, after minus before.  runs: as of surrogate_runs.related.  InputError for impossible
    numbers, ConvergenceError where too few of the design's runs end well.
    """
    check_measured(scenario, change_s, sigma_s)
    low, high = COUNTS
    if not low <= count <= high:
        raise ArgumentError("count", f"{count} is given, allowed is {low} .. {high}; change it")
    relation = related(scenario, change_s, sigma_s, runs, seed)
    found = inverted(relation, prior(relation, count, seed), change_s, sigma_s)
    before_s = relation.nominal.period_h * HOUR_S
    doubts = beta_set_aside(scenario) + left_out(scenario, before_s, before_s + change_s, sigma_s)
    return replace(found, warnings=found.warnings + doubts)


def beta_set_aside(scenario: Scenario) -> tuple[str, ...]:
    """One sentence where the scenario draws what is inferred."""
    if scenario.sampling is None or BETA not in scenario.sampling.quantities:
        return ()
    return (f"{BETA} is drawn in [sampling], but it is what is inferred, so it is no input here",)


def prior(relation: Relation, count: int, seed: int | None = None) -> Draws:
    """`count` draws of the inputs and of the measurement's noise; seed: default that of [sampling]."""
    sampling = relation.scenario.sampling
    random = np.random.default_rng(seed_of(relation.scenario, seed))
    inputs = drawn(sampling, ("",), count, random, limited=False) if sampling and sampling.quantities else {}
    return draws_at(relation, inputs, random.standard_normal(count))


def inverted(relation: Relation, draws: Draws, change_s: float, sigma_s: float) -> Posterior:
    """Posterior from a measurement by a relation that is built already: milliseconds, so that many may share it.

    Draws whose push is outside what the relation covers are named.  InputError where no beta explains the sign.
    """
    scenario, pair = relation.scenario, draws.pair
    sigma = math.hypot(sigma_s, relation.error_s)
    drawn_s = change_s + draws.noise * sigma
    solved = solution(relation, draws, drawn_s)
    near = relation.nearest_is(relation.unstable, draws.columns, solved.closed_form_s)
    if near.any() and relation.unstable_error_s > 0.0:
        wider = np.where(near, math.hypot(sigma, relation.unstable_error_s), sigma)
        drawn_s = change_s + draws.noise * wider
        solved = solution(relation, draws, drawn_s)
    status = _statuses(relation, draws, solved)
    return Posterior(
        scenario=scenario,
        change_s=change_s,
        sigma_s=sigma_s,
        relation=relation,
        status=status,
        near_unstable=near,
        dv_mm_s=1e3 * solved.dv_m_s,
        beta=solved.beta,
        density_kg_m3=pair.secondary_kg / pair.volume_m3,
        volume_m3=pair.volume_m3,
        momentum_kg_m_s=draws.momentum_kg_m_s,
        lever=draws.lever,
        inputs=draws.inputs,
        drawn_change_s=drawn_s,
        warnings=_warnings(scenario, status, near, relation) + _doubtful(solved.beta[status == DONE], change_s),
    )


def _statuses(relation: Relation, draws: Draws, solved: Solution) -> np.ndarray:
    """(n,) words; the last that applies stays."""
    target, lever = solved.closed_form_s, draws.lever
    status = np.full(len(target), DONE, dtype="<U14")
    status[relation.nearest_is(relation.bad, draws.columns, target)] = ENDED
    low, high = relation.targets
    status[(target < low) | (target > high)] = OUTSIDE
    status[~np.isfinite(solved.dv_m_s)] = NO_PUSH
    if lever is not None:
        status[~(np.abs(lever.strength) >= LEAST_STRENGTH)] = NO_PUSH
        status[~lever.hit] = MISS
    status[draws.refused] = REFUSED
    return status


def check_measured(scenario: Scenario, change_s: float, sigma_s: float) -> None:
    """InputError for a measurement from which nothing can be inferred with this scenario."""
    if not (math.isfinite(sigma_s) and sigma_s > 0.0):
        raise ArgumentError("sigma_s", f"{sigma_s:g} is given, allowed is a number above 0; write one sigma in seconds")
    if not math.isfinite(change_s) or change_s == 0.0:
        raise ArgumentError("period_change_s", f"{change_s:g} is given, allowed is any other finite number; change it")
    if scenario.kind_of_impact == "none":
        raise InputError(scenario.place, "neither [impactor] nor [push] is given, one is needed to push along; add one")
    hours = scenario.mutual_orbit.period_h
    if hours and scenario.simulation.days_after * 24.0 < 5.5 * hours:
        raise InputError(
            f"{scenario.place}:simulation.days_after",
            f"{scenario.simulation.days_after:g} days are fewer than 5.5 orbits, a period needs more; lengthen it",
        )


def _doubtful(beta: np.ndarray, change_s: float) -> tuple[str, ...]:
    """What an impact can hardly do; a change of the wrong sign is refused, since no beta explains it."""
    beta = beta[np.isfinite(beta)]
    if not len(beta):
        return ()
    if np.median(beta) < 0.0:
        raise ArgumentError(
            "period_change_s",
            f"{change_s:g} is given, but a hit from this direction changes the period the other way (beta would be "
            f"{np.median(beta):.3g}), allowed is a change that it can cause; check the sign and impactor.direction",
        )
    low = float(np.mean(beta < 1.0))
    if low < 0.01:
        return ()
    return (f"{100.0 * low:.0f} % of the draws have beta below 1: the ejecta would carry momentum onwards, not back",)


def _warnings(scenario: Scenario, status: np.ndarray, near: np.ndarray, relation: Relation) -> tuple[str, ...]:
    said = []
    if scenario.observation.estimator != "weighted_fit":
        said.append("the period after the impact is that of the weighted fit, whatever observation.estimator says")
    if not (scenario.sampling and scenario.sampling.quantities):
        said.append("there is no [sampling], so only the measurement is uncertain here; give the inputs' distributions")
    if scenario.boulders:
        said.append("beta is that of the ejecta besides [boulders], whose momentum is taken as stated")
    for name, words in (
        (REFUSED, "have a value outside the range of its key, or semi-axes out of order"),
        (ENDED, "are nearest to a run that ends early or is refused"),
        (MISS, "miss or graze the moonlet"),
        (NO_PUSH, "have no push, or no leverage of beta, that gives the change"),
        (OUTSIDE, "need a push outside the simulated ones"),
    ):
        if number := int(np.sum(status == name)):
            said.append(f"{number} of {len(status)} draws {words}; they are left out")
    if relation.left_out:
        said.append(f"{relation.left_out} of {relation.runs} simulations end early or are refused")
    return tuple(said) + _of_unstable(int(np.sum(near & (status == DONE))), len(status), relation)


def _of_unstable(near: int, draws: int, relation: Relation) -> tuple[str, ...]:
    """What unstable simulations do to the error of the draws that count."""
    if not relation.unstable_runs:
        return ()
    unstable = f"{relation.unstable_runs} of {relation.runs} simulations have an unstable attitude"
    if relation.fitted_to_all:
        return (f"{unstable}, too many to fit the others alone: the relation is fitted to all, its error is of all",)
    said = (f"{unstable}; their period changes are {relation.unstable_error_s:.2g} s (rms) off the smooth relation",)
    if not near:
        return said
    return (
        *said,
        f"{near} of {draws} draws are nearest to a run whose attitude is unstable: {relation.unstable_error_s:.2g} s "
        "are added to their error",
    )
