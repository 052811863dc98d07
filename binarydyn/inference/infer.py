"""Backwards with all uncertainties: from a measured period change to the velocity change along the track, and to beta.

For each draw of the uncertain inputs ([sampling]) and of the measurement, the simulated emulator between velocity
change and period change (relation.py) is solved for the velocity change; then beta = 1 + [(M2/m) dv_t - U.t] /
[(E.U)(E.t)] (impact/leverage.py).  The emulator's error is added to that of the measurement, and where the nearest run
is chaotic or tumbles what such runs are off by: the period changes by seconds there, and leaving these draws out would
move the inputs from their prior, and beta with them, by more.  Draws nearest to a run that ends early are left out.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..constants import HOUR_S
from ..errors import ArgumentError, InputError
from ..kinds import NUMBER, WHOLE, takes
from ..observing.event_times import TimingFit
from ..prediction.solar_tide import left_out
from ..scenario import Scenario
from ..scenario.draws import drawn
from ..timing.mixture import Mixture
from .along_track import LEAST_STRENGTH
from .posterior import DONE, ENDED, MISS, NO_SOLUTION, OUTSIDE, REFUSED, Posterior
from .prior import Draws, Solution, draws_at, ground_tilts, solution
from .surrogate import Surrogate
from .surrogate_runs import BETA, related, seed_of

COUNTS = (100, 1_000_000)


@takes(scenario="Scenario", change_s=(None, NUMBER), sigma_s=(None, NUMBER), count=WHOLE, events=(None, "TimingFit"))
def infer(
    scenario: Scenario,
    change_s: float | None = None,
    sigma_s: float | None = None,
    count: int = 10_000,
    seed: int | None = None,
    runs: int | None = None,
    *,
    events: TimingFit | None = None,
) -> Posterior:
    """From a measured period change back to the velocity change along the track and, where an impactor is given, to
    beta.

    Parameters
    ----------
    scenario : its [sampling] says what is uncertain.
    change_s, sigma_s : measured, after minus before, and its 1 sigma; None: those of [observed].
    count : draws of the inputs and of the measurement, 100 to 1 000 000.
    seed : of the draws; None: that of [sampling].
    runs : simulations behind the emulator, a power of 2; None: as many as it takes.
    events : in place of a change, what `observing.event_times.timing_fit` made of event times: the measurement is then
        drawn from its mixture over counts of turns.

    Returns
    -------
    Posterior, one row a draw.

    Raises
    ------
    InputError for impossible numbers, ConvergenceError where too few simulations end well.

    Examples
    --------
    >>> import binarydyn as bd
    >>> pair = bd.example().replace({"sampling": {"quantities": {"impactor.mass_kg": {"normal": [480.0, 5.0]}}}})
    >>> found = bd.infer(pair, -1578.5, 2.0, count=1000, seed=0)
    >>> found.quantile([0.16, 0.5, 0.84])["beta"].round(1).tolist()
    [2.2, 2.2, 2.2]
    """
    change_s, sigma_s, of_fit = measurement(scenario, change_s, sigma_s, events)
    check_measured(scenario, change_s, sigma_s)
    low, high = COUNTS
    if not low <= count <= high:
        raise ArgumentError("count", f"{count} is given, allowed is {low} .. {high}; change it")
    surrogate = related(scenario, change_s, sigma_s, runs, seed)
    measured = events.change if events is not None else None
    found = inverted(surrogate, prior(surrogate, count, seed), change_s, sigma_s, measured)
    before_s = surrogate.nominal.period_h * HOUR_S
    doubts = beta_set_aside(scenario) + left_out(scenario, before_s, before_s + change_s, sigma_s)
    return replace(found, warnings=of_fit + found.warnings + doubts)


def measurement(
    scenario: Scenario, change_s: float | None, sigma_s: float | None, events: TimingFit | None = None
) -> tuple[float, float, tuple[str, ...]]:
    """What was measured and its 1 sigma, s, with what a reader must know: as given, from event times, or from
    [observed].  InputError for one number without the other, and for none.
    """
    if events is not None:
        check_alone(change_s, sigma_s)
        return events.change.mean, events.change_sigma_s, events.doubts
    if (change_s is None) != (sigma_s is None):
        missing = "sigma_s" if sigma_s is None else "period_change_s"
        raise ArgumentError(missing, "it is missing while its partner is given, they go together; add it")
    if change_s is not None and sigma_s is not None:
        return change_s, sigma_s, ()
    if scenario.observed is None:
        said = "no measured change is given; add [observed], or "
        typed = f"{said}write --period-change-s and --sigma-s"
        raise InputError(f"{scenario.place}:observed", f"{said}give it with its sigma", typed=typed)
    return scenario.observed.period_change_s, scenario.observed.sigma_s, ()


def check_alone(change_s: float | None, sigma_s: float | None) -> None:
    """InputError where a measured change is given beside event times."""
    if change_s is not None or sigma_s is not None:
        raise ArgumentError("events", "a measured change is given too, one of the two is allowed; remove one")


def beta_set_aside(scenario: Scenario) -> tuple[str, ...]:
    """One sentence where the scenario draws what is inferred."""
    if scenario.sampling is None or BETA not in scenario.sampling.quantities:
        return ()
    return (f"{BETA} is drawn in [sampling], but it is what is inferred, so it is no input here",)


def prior(surrogate: Surrogate, count: int, seed: int | None = None) -> Draws:
    """`count` draws of the inputs and of the measurement's noise; seed: default that of [sampling]."""
    sampling = surrogate.scenario.sampling
    random = np.random.default_rng(seed_of(surrogate.scenario, seed))
    inputs = drawn(sampling, ("",), count, random, limited=False) if sampling and sampling.quantities else {}
    noise = random.standard_normal(count)
    return draws_at(surrogate, inputs, noise, random.standard_normal((len(ground_tilts(surrogate)), count)))


def inverted(
    surrogate: Surrogate, draws: Draws, change_s: float, sigma_s: float, measured: Mixture | None = None
) -> Posterior:
    """Posterior from a measurement by an emulator that is built already: milliseconds, so that many may share it.

    measured: its distribution, s, with that mean and sigma; None: Gaussian.  Draws whose velocity change is outside
    what the emulator covers are named.  InputError where no beta explains the sign.
    """
    scenario, pair = surrogate.scenario, draws.pair
    measured = measured or Mixture.gaussian(change_s, sigma_s)
    drawn_s = measured.shifted(0.0, surrogate.error_s).at_scores(draws.noise)
    solved = solution(surrogate, draws, drawn_s)
    near = surrogate.nearest_is(surrogate.chaotic, draws.columns, solved.closed_form_s)
    if near.any() and surrogate.chaotic_error_s > 0.0:
        wider = measured.shifted(0.0, math.hypot(surrogate.error_s, surrogate.chaotic_error_s))
        drawn_s = np.where(near, wider.at_scores(draws.noise), drawn_s)
        solved = solution(surrogate, draws, drawn_s)
    status = _statuses(surrogate, draws, solved)
    return Posterior(
        scenario=scenario,
        change_s=change_s,
        sigma_s=sigma_s,
        surrogate=surrogate,
        status=status,
        near_chaotic=near,
        dv_mm_s=1e3 * solved.dv_m_s,
        beta=solved.beta,
        density_kg_m3=pair.secondary_kg / pair.volume_m3,
        volume_m3=pair.volume_m3,
        momentum_kg_m_s=draws.momentum_kg_m_s,
        lever=draws.lever,
        inputs=draws.inputs,
        drawn_change_s=drawn_s,
        slopes=draws.slopes,
        warnings=_warnings(scenario, status, near, surrogate) + _doubtful(solved.beta[status == DONE], change_s),
    )


def _statuses(surrogate: Surrogate, draws: Draws, solved: Solution) -> np.ndarray:
    """(n,) words; the last that applies stays."""
    target, lever = solved.closed_form_s, draws.lever
    status = np.full(len(target), DONE, dtype="<U14")
    status[surrogate.nearest_is(surrogate.bad, draws.columns, target)] = ENDED
    low, high = surrogate.targets
    status[(target < low) | (target > high)] = OUTSIDE
    status[~np.isfinite(solved.dv_m_s)] = NO_SOLUTION
    if lever is not None:
        status[~(np.abs(lever.strength) >= LEAST_STRENGTH)] = NO_SOLUTION
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
        raise InputError(scenario.place, "neither [impactor] nor [velocity_change] is given, one is needed; add one")
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
            f"{change_s:g} is given, but an impact from this direction changes the period the other way (beta would be "
            f"{np.median(beta):.3g}), allowed is a change that it can cause; check the sign and impactor.direction",
        )
    low = float(np.mean(beta < 1.0))
    if low < 0.01:
        return ()
    return (f"{100.0 * low:.0f} % of the draws have beta below 1: the ejecta would carry momentum onwards, not back",)


def _warnings(scenario: Scenario, status: np.ndarray, near: np.ndarray, surrogate: Surrogate) -> tuple[str, ...]:
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
        (MISS, "miss or graze the secondary"),
        (NO_SOLUTION, "have no velocity change, or no leverage of beta, that gives the change"),
        (OUTSIDE, "need a velocity change outside the simulated ones"),
    ):
        if number := int(np.sum(status == name)):
            said.append(f"{number} of {len(status)} draws {words}; they are left out")
    if surrogate.left_out:
        said.append(f"{surrogate.left_out} of {surrogate.runs} simulations end early or are refused")
    return tuple(said) + _of_chaotic(int(np.sum(near & (status == DONE))), len(status), surrogate)


def _of_chaotic(near: int, draws: int, surrogate: Surrogate) -> tuple[str, ...]:
    """What chaotic simulations do to the error of the draws that count."""
    if not surrogate.chaotic_runs:
        return ()
    chaotic = f"{surrogate.chaotic_runs} of {surrogate.runs} simulations have a chaotic attitude"
    if surrogate.fitted_to_all:
        return (f"{chaotic}, too many to fit the others alone: the emulator is fitted to all, its error is of all",)
    said = (f"{chaotic}; their period changes are {surrogate.chaotic_error_s:.2g} s (rms) off the emulator",)
    if not near:
        return said
    return (
        *said,
        f"{near} of {draws} draws are nearest to a run whose attitude is chaotic: {surrogate.chaotic_error_s:.2g} s "
        "are added to their error",
    )
