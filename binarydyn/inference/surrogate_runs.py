"""Full simulations behind the emulator of velocity change and period change: a Sobol design in the inputs and the
velocity change.

Each run: relaxed and calibrated start, hit with the velocity change that has the wanted closed-form change, window
after t0.  The period before t0 is that of the relaxed orbit, which is exact.
"""

from __future__ import annotations

import math

import numpy as np

from ..batch.periods_after import periods_after
from ..constants import HOUR_S
from ..dynamics import State, System
from ..errors import ArgumentError, BinarydynError, ConvergenceError, InputError
from ..impact.leverage import leverage
from ..kinds import sure
from ..relaxed.start import Start, start
from ..scenario import Scenario, varied
from ..scenario.draws import at_scores
from ..scenario.tables.sampling import Sampling, check_seed
from .along_track import LEAST_STRENGTH, dv_for, momenta, state_after
from .pair_draws import pairs
from .quadratic import runs_for
from .surrogate import Simulated, Surrogate, surrogate_of

WIDER = 1.25
"""By how much the design reaches farther than the draws, in sigmas."""
BETA = "momentum_transfer.beta"
_RANGE_SIGMAS, _RANGE_SHARE = 5.0, 0.08


def related(
    scenario: Scenario,
    change_s: float,
    sigma_s: float,
    runs: int | None = None,
    seed: int | None = None,
) -> Surrogate:
    """Simulate the design about a period change: it covers 8 % and five sigma_s on either side.

    runs: a power of 2 (default: from the number of inputs); seed: of the design (default: that of [sampling]).  A drawn
    beta is what is asked for, so the emulator's scenario does not draw it.  InputError for impossible numbers or an aim
    that misses, ConvergenceError where too few runs end well.
    """
    scenario = _without_beta(scenario)
    names = list(scenario.sampling.quantities) if scenario.sampling else []
    runs = runs_for(runs, len(names) + 1)
    nominal = start(scenario)
    ratio = _first_ratio(scenario, nominal, change_s)
    # A new shape adds the same to any velocity change; what else departs from the closed form does in proportion.
    centre = (2.0 - ratio) * change_s if scenario.reshaping else change_s / ratio
    reach = (_RANGE_SHARE * abs(change_s) + _RANGE_SIGMAS * sigma_s) / ratio
    targets = (centre - reach, centre + reach)
    inputs, target = _design(scenario, names, runs, seed_of(scenario, seed), targets)
    simulated = _simulated(scenario, nominal, inputs, target)
    return surrogate_of(scenario, nominal, inputs, target, targets, simulated)


def seed_of(scenario: Scenario, seed: int | None) -> int:
    """The seed that is given, else that of [sampling], else 0.  InputError for one below 0."""
    check_seed(seed)
    if seed is not None:
        return seed
    return scenario.sampling.seed if scenario.sampling and scenario.sampling.quantities else 0


def _without_beta(scenario: Scenario) -> Scenario:
    """The same with no distribution of beta, nor what it is correlated with."""
    given = scenario.sampling
    if given is None or BETA not in given.quantities:
        return scenario
    kept = {name: law for name, law in given.quantities.items() if name != BETA}
    correlations = tuple(row for row in given.correlations if BETA not in row[:2])
    return scenario.replace(
        {"sampling": Sampling(seed=given.seed, count=given.count, quantities=kept, correlations=correlations)}
    )


def _first_ratio(scenario: Scenario, nominal: Start, change_s: float) -> float:
    """Simulated over closed-form change at the nominal inputs, where the latter is the measured one."""
    system, state = _hit(scenario, nominal, change_s)
    periods, _ = periods_after([system], [state], scenario.simulation.days_after)
    simulated = float(periods[0] - nominal.period_h * HOUR_S)
    if not math.isfinite(simulated):
        raise ConvergenceError(
            "the run at the stated values ends early (the bodies touch or part), so no velocity change is inferred"
        )
    if not 0.5 < simulated / change_s < 2.0:
        raise ConvergenceError(
            f"the run at the stated values changes the period by {simulated:.0f} s where a Kepler orbit's changes by "
            f"{change_s:.0f} s, too far apart for an emulator, so no velocity change is inferred"
        )
    return simulated / change_s


def _design(
    scenario: Scenario, names: list[str], runs: int, seed: int, targets: tuple[float, float]
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Inputs (runs,) by name and closed-form changes (runs,)."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    inputs: dict[str, np.ndarray] = {}
    cube = qmc.Sobol(len(names) + 1, rng=seed).random(runs)
    scores = WIDER * ndtri(np.clip(cube[:, 1:], 1e-3, 1.0 - 1e-3))
    if names:
        sampling = sure(scenario.sampling)
        scores = scores @ np.linalg.cholesky(np.array(sampling.correlation_matrix)).T
        inputs = {name: at_scores(sampling, name, z) for name, z in zip(names, scores.T, strict=True)}
    low, high = targets
    return inputs, low + (high - low) * cube[:, 0]


def _simulated(
    scenario: Scenario,
    nominal: Start,
    inputs: dict[str, np.ndarray],
    target: np.ndarray,
) -> Simulated:
    """Run the design."""
    found, begun, pushed = _begun(scenario, nominal, inputs, target)
    systems, states = [list(column) for column in zip(*pushed, strict=True)] if pushed else ([], [])
    periods, regular = periods_after(systems, states, scenario.simulation.days_after) if begun else (np.empty(0),) * 2
    change = periods - np.array([one.period_h for one in begun]) * HOUR_S
    # A start that is chaotic before t0 has a period as uncertain as one after.
    calm = np.array([not one.chaos.chaotic for one in begun], dtype=bool)
    return Simulated(found, begun, change, calm & np.asarray(regular, dtype=bool))


def _begun(
    scenario: Scenario, nominal: Start, inputs: dict[str, np.ndarray], target: np.ndarray
) -> tuple[np.ndarray, list[Start], list[tuple[System, State]]]:
    """Which runs of the design can begin, their starts, and their systems and states after the impact."""
    found, begun, pushed = [], [], []
    for k, change in enumerate(target):
        try:
            given = varied(scenario, {name: float(x[k]) for name, x in inputs.items()}) if inputs else scenario
            one = start(given) if inputs else nominal
            after = _hit(given, one, change)
        except BinarydynError:
            continue
        found.append(k)
        begun.append(one)
        pushed.append(after)
    return np.array(found, dtype=int), begun, pushed


def _hit(scenario: Scenario, one: Start, change_s: float) -> tuple[System, State]:
    """System and state after the impact with the wanted closed-form change.  InputError where there is none."""
    lever = leverage(one.system, scenario) if scenario.impactor else None
    if lever is not None and not lever.hit[0]:
        raise InputError(scenario.place, "the impactor misses or grazes the secondary; change its aim")
    momentum = momenta(scenario, {}, 1)
    pair = pairs(scenario, {}, 1).as_found([one])
    dv = dv_for(np.array([change_s]), pair, lever, momentum, scenario)[0]
    if not np.isfinite(dv) or (lever is not None and abs(lever.strength[0]) < LEAST_STRENGTH):
        raise ArgumentError("period_change_s", f"no velocity change changes the period by {change_s:g} s; check it")
    return state_after(one.system, scenario, lever, dv, momentum[0])
