"""Full simulations behind the relation of push and period change: a Sobol design in the inputs and the push.

Each run: relaxed and calibrated start, hit with the push that has the wanted closed-form change, window after t0.  The
period before t0 is that of the relaxed orbit, which is exact.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from ..constants import HOUR_S
from ..dynamics import State, System, simulate_many
from ..errors import BinarydynError, ConvergenceError, FewCyclesError, InputError
from ..impact.draws import at_scores
from ..impact.leverage import leverage
from ..observables import attitude, period
from ..scenario import Scenario, varied
from .along_track import LEAST_STRENGTH, momenta, pushes_for, state_after
from .emulator import fitted, terms_of
from .pair_draws import pairs
from .relation import Relation, columns
from .start import Start, start

WIDER = 1.25
"""By how much the design reaches farther than the draws, in sigmas."""
_RANGE_SIGMAS, _RANGE_SHARE = 5.0, 0.08

After = Callable[[Sequence[System], Sequence[State], float], tuple[np.ndarray, np.ndarray]]
"""Systems, states just after t0, days -> periods (n,), s, and whether each run is regular to its end (n,)."""


def related(
    scenario: Scenario,
    change_s: float,
    sigma_s: float,
    runs: int | None = None,
    seed: int | None = None,
    after: After | None = None,
) -> Relation:
    """Simulate the design about a period change: it covers 8 % and five sigma_s on either side.

    runs: a power of 2 (default: from the number of inputs); seed: of the design (default: that of [sampling]); after:
    how the window after t0 is run (default: side_by_side).  InputError for impossible numbers or an aim that misses,
    ConvergenceError where too few runs end well.
    """
    after, nominal = after or side_by_side, start(scenario)
    names = list(scenario.sampling.quantities) if scenario.sampling else []
    terms = terms_of(len(names) + 1)
    runs = runs or max(128, 2 ** math.ceil(math.log2(3.0 * terms)))
    if runs < 2 * terms:
        raise InputError("--runs", f"{runs} are given, {len(names)} inputs need at least {2 * terms}; change it")
    ratio = _first_ratio(scenario, nominal, change_s, after)
    # A new shape adds the same to any push; what else departs from the closed form does in proportion.
    centre = (2.0 - ratio) * change_s if scenario.reshaping else change_s / ratio
    reach = (_RANGE_SHARE * abs(change_s) + _RANGE_SIGMAS * sigma_s) / ratio
    targets = (centre - reach, centre + reach)
    inputs, target = _design(scenario, names, runs, seed_of(scenario, seed), targets)
    return _simulated(scenario, nominal, inputs, target, targets, after)


def seed_of(scenario: Scenario, seed: int | None) -> int:
    """The seed that is given, else that of [sampling], else 0."""
    if seed is not None:
        return seed
    return scenario.sampling.seed if scenario.sampling and scenario.sampling.quantities else 0


def side_by_side(systems: Sequence[System], states: Sequence[State], days: float) -> tuple[np.ndarray, np.ndarray]:
    """See After: by simulate_many; regular is what ends as `done` without tumbling."""
    periods, regular = np.full(len(systems), np.nan), np.zeros(len(systems), dtype=bool)
    for k, run in enumerate(simulate_many(systems, days, states)):
        try:
            periods[k] = period(run).value_s
            regular[k] = run.status == "done" and not attitude(run).tumbling
        except (FewCyclesError, InputError):
            continue
    return periods, regular


def _first_ratio(scenario: Scenario, nominal: Start, change_s: float, after: After) -> float:
    """Simulated over closed-form change at the nominal inputs, where the latter is the measured one."""
    one = pairs(scenario, nominal, {}, 1).as_found([nominal])
    lever = leverage(nominal.system, scenario) if scenario.impactor else None
    if lever is not None and not lever.hit[0]:
        raise InputError(scenario.place, "the impactor misses or grazes the moonlet; change its aim")
    momentum = momenta(scenario, {}, 1)
    dv = pushes_for(np.array([change_s]), one, lever, momentum, scenario)
    if not np.isfinite(dv[0]):
        raise InputError("--period-change-s", f"no push changes the period by {change_s:g} s; check it")
    system, state = state_after(nominal.system, scenario, lever, dv[0], momentum[0])
    periods, regular = after([system], [state], scenario.simulation.days_after)
    simulated = periods[0] - nominal.period_h * HOUR_S
    if not (regular[0] and 0.5 < simulated / change_s < 2.0):
        raise ConvergenceError("the run at the stated values tumbles or ends early, no push is inferred", 1.0, 1)
    return simulated / change_s


def _design(
    scenario: Scenario, names: list[str], runs: int, seed: int, targets: tuple[float, float]
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Inputs (runs,) by name and closed-form changes (runs,)."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    cube = qmc.Sobol(len(names) + 1, rng=seed).random(runs)
    scores = WIDER * ndtri(np.clip(cube[:, 1:], 1e-3, 1.0 - 1e-3))
    if names:
        scores = scores @ np.linalg.cholesky(np.array(scenario.sampling.correlation_matrix)).T
    inputs = {name: at_scores(scenario.sampling, name, z) for name, z in zip(names, scores.T, strict=True)}
    low, high = targets
    return inputs, low + (high - low) * cube[:, 0]


def _simulated(
    scenario: Scenario,
    nominal: Start,
    inputs: dict[str, np.ndarray],
    target: np.ndarray,
    targets: tuple[float, float],
    after: After,
) -> Relation:
    """Run the design and fit what came out."""
    runs = len(target)
    found, begun, pushed = _begun(scenario, nominal, inputs, target)
    systems, states = [list(column) for column in zip(*pushed, strict=True)] if pushed else ([], [])
    periods, regular = after(systems, states, scenario.simulation.days_after) if begun else (np.empty(0),) * 2
    regular = np.asarray(regular, dtype=bool)
    change = periods - np.array([one.period_h for one in begun]) * HOUR_S
    regular &= np.isfinite(change)
    x, kept = columns(inputs, runs), found[regular]
    if len(kept) < 2 * terms_of(x.shape[1] + 1):
        sentence = f"only {len(kept)} of {runs} runs end well, too few for the relation; narrow [sampling]"
        raise ConvergenceError(sentence, 1.0 - len(kept) / runs, runs)
    points, bad = np.column_stack([x, target]), np.ones(runs, dtype=bool)
    bad[kept] = False
    # What masses and separations are besides what Kepler's third law says.
    rough = pairs(scenario, nominal, {name: values[found] for name, values in inputs.items()}, len(begun))
    corrections = {name: fitted(x[found], np.log(ratios)) for name, ratios in rough.against(begun).items()}
    departure = fitted(points[kept], change[regular] - target[kept])
    return Relation(scenario, nominal, departure, corrections, points, bad, targets)


def _begun(
    scenario: Scenario, nominal: Start, inputs: dict[str, np.ndarray], target: np.ndarray
) -> tuple[np.ndarray, list[Start], list[tuple[System, State]]]:
    """Which runs of the design can begin, their starts, and their systems and states after the push."""
    found, begun, pushed = [], [], []
    for k, change in enumerate(target):
        try:
            given = varied(scenario, {name: float(x[k]) for name, x in inputs.items()}) if inputs else scenario
            one = start(given) if inputs else nominal
            after = _hit(given, one, change)
        except BinarydynError:
            continue
        if after is not None:
            found.append(k)
            begun.append(one)
            pushed.append(after)
    return np.array(found, dtype=int), begun, pushed


def _hit(scenario: Scenario, one: Start, target: float) -> tuple[System, State] | None:
    """System and state after the push with the wanted closed-form change; None where there is none."""
    lever = leverage(one.system, scenario) if scenario.impactor else None
    if lever is not None and not (lever.hit[0] and abs(lever.strength[0]) >= LEAST_STRENGTH):
        return None
    momentum = momenta(scenario, {}, 1)
    pair = pairs(scenario, one, {}, 1).as_found([one])
    dv = pushes_for(np.array([target]), pair, lever, momentum, scenario)[0]
    return state_after(one.system, scenario, lever, dv, momentum[0]) if np.isfinite(dv) else None
