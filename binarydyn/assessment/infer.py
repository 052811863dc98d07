"""Backwards with all uncertainties: from a measured period change to the push along the track, and to beta.

For each draw of the uncertain inputs ([sampling]) and of the measurement, the simulated relation between push and
period change is solved for the push; then beta = 1 + [(M2/m) dv_t - U.t] / [(E.U)(E.t)] (impact/leverage.py).

The relation comes from full simulations of a Sobol design in the inputs and the push: relaxed and calibrated start,
hit, window after t0.  Their departure from the closed form on a Kepler orbit (vis-viva) is fitted by a quadratic
polynomial (emulator.py), whose leave-one-out error is added to that of the measurement.  The period before t0 is that
of the relaxed orbit, which is exact.  Valid where the outcomes are smooth: runs that tumble or end early are left out
of the fit, and draws that are nearest to such a run are named and not averaged in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from ..dynamics import State, System, simulate_many
from ..errors import BinarydynError, ConvergenceError, FewCyclesError, InputError
from ..impact.draws import at_scores, drawn
from ..impact.frame import orbit_axes
from ..impact.leverage import Leverage, leverage, leverages
from ..impact.momentum import pushed
from ..observables import attitude, period
from ..scenario import Scenario, varied
from .emulator import Quadratic, fitted, terms_of
from .pair_draws import Pairs, pairs
from .start import Start, start

DONE, UNSTABLE, MISS, NO_PUSH, OUTSIDE = "done", "unstable", "miss", "no_push", "outside_design"
LEAST_STRENGTH = 1e-3
"""|(E.U)(E.t)| below which beta does nothing along the track and cannot be told from it."""
WIDER = 1.25
"""By how much the design reaches farther than the draws, in sigmas."""
_RANGE_SIGMAS, _RANGE_SHARE = 5.0, 0.08
COUNTS = (100, 1_000_000)

After = Callable[[Sequence[System], Sequence[State], float], tuple[np.ndarray, np.ndarray]]
"""Systems, states just after t0, days -> periods (n,), s, and whether each run is regular to its end (n,)."""


@dataclass(frozen=True)
class Relation:
    """The simulated relation: departure of the period change from the closed form, over inputs and closed form.

    runs: simulations, of which `left_out` ended early, tumbled or were refused.  error_s: leave-one-out error.
    pair_error: relative, of the emulated masses and separations.  targets: range of the closed form that is covered.
    """

    departure: Quadratic
    runs: int
    left_out: int
    error_s: float
    pair_error: float
    targets: tuple[float, float]


@dataclass(frozen=True)
class Posterior:
    """What `infer` returns: one row a draw, arrays (n,).

    status: `done`, `unstable`, `miss`, `no_push` (no push gives the change, or beta has no leverage) or
    `outside_design`.  dv_mm_s: along-track push; beta: NaN-free only where has_beta and status is done.
    density_kg_m3: the moonlet's, as calibrated.  inputs: by dotted names.
    """

    scenario: Scenario
    change_s: float
    sigma_s: float
    relation: Relation
    status: np.ndarray
    dv_mm_s: np.ndarray
    beta: np.ndarray
    density_kg_m3: np.ndarray
    volume_m3: np.ndarray
    momentum_kg_m_s: np.ndarray
    lever: Leverage | None
    inputs: dict[str, np.ndarray]
    warnings: tuple[str, ...]

    @property
    def well(self) -> np.ndarray:
        """(n,) which draws count."""
        return self.status == DONE

    @property
    def has_beta(self) -> bool:
        """Whether an impactor is given, without which only the push is inferred."""
        return self.lever is not None

    def beta_at(self, density_kg_m3: float) -> np.ndarray:
        """(k,) betas of the draws that count if the moonlet had this density at its drawn volume, the push as found."""
        mass = density_kg_m3 * self.volume_m3
        return self.lever.beta(1e-3 * self.dv_mm_s, mass, self.momentum_kg_m_s)[self.well]


def infer(
    scenario: Scenario,
    change_s: float,
    sigma_s: float,
    count: int = 10_000,
    seed: int | None = None,
    runs: int | None = None,
    after: After | None = None,
) -> Posterior:
    """Posterior of the push, and of beta where an impactor is given.

    change_s, sigma_s: measured, after minus before.  runs: of the design, a power of 2 (default: from the number of
    inputs); after: how the window after t0 is run (default: side by side with the scenario's integrator).
    InputError for impossible numbers, ConvergenceError where too few of the design's runs end well.
    """
    _check(scenario, change_s, sigma_s, count)
    sampling = scenario.sampling if scenario.sampling and scenario.sampling.quantities else None
    seed = (sampling.seed if sampling else 0) if seed is None else seed
    random = np.random.default_rng(seed)
    nominal = start(scenario)
    inputs = drawn(sampling, ("",), count, random) if sampling else {}
    design = _Design(scenario, nominal, change_s, sigma_s, runs, seed, after or side_by_side)
    relation, pair = design.relation, pairs(scenario, nominal, inputs, count).corrected(design.corrections, inputs)
    noise = random.standard_normal(count) * math.hypot(sigma_s, relation.error_s)
    lever = _lever(scenario, nominal, inputs, count)
    momentum = _momentum(scenario, inputs, count)
    x = _columns(inputs, count)
    target = _solved(relation.departure, x, change_s + noise)
    dv = _push_for(target, pair, lever, momentum, scenario)
    status = np.full(count, DONE, dtype="<U14")
    status[design.nearest_is_bad(x, target)] = UNSTABLE
    low, high = relation.targets
    status[(target < low) | (target > high)] = OUTSIDE
    status[~np.isfinite(dv)] = NO_PUSH
    beta = np.full(count, np.nan)
    if lever is not None:
        with np.errstate(all="ignore"):
            beta = lever.beta(dv, pair.secondary_kg, momentum)
        status[~(np.abs(lever.strength) >= LEAST_STRENGTH)] = NO_PUSH
        status[~lever.hit] = MISS
    return Posterior(
        scenario=scenario,
        change_s=change_s,
        sigma_s=sigma_s,
        relation=relation,
        status=status,
        dv_mm_s=1e3 * dv,
        beta=beta,
        density_kg_m3=pair.secondary_kg / pair.volume_m3,
        volume_m3=pair.volume_m3,
        momentum_kg_m_s=momentum,
        lever=lever,
        inputs=inputs,
        warnings=_warnings(scenario, status, relation) + _doubtful(beta[status == DONE], change_s),
    )


def _check(scenario: Scenario, change_s: float, sigma_s: float, count: int) -> None:
    low, high = COUNTS
    if not low <= count <= high:
        raise InputError("--count", f"{count} is given, allowed is {low} .. {high}; change it")
    if not (math.isfinite(sigma_s) and sigma_s > 0.0):
        raise InputError("--sigma-s", f"{sigma_s:g} is given, allowed is a number above 0; write one sigma in seconds")
    if not math.isfinite(change_s) or change_s == 0.0:
        raise InputError("--period-change-s", f"{change_s:g} is given, allowed is any other finite number; change it")
    if scenario.kind_of_impact == "none":
        raise InputError(scenario.place, "neither [impactor] nor [push] is given, one is needed to push along; add one")
    hours = scenario.mutual_orbit.period_h
    if hours and scenario.simulation.days_after * 24.0 < 5.5 * hours:
        raise InputError(
            f"{scenario.place}:simulation.days_after",
            f"{scenario.simulation.days_after:g} days are fewer than 5.5 orbits, a period needs more; lengthen it",
        )


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


class _Design:
    """Full simulations over the inputs and the push, and what is fitted to them."""

    def __init__(self, scenario, nominal: Start, change_s: float, sigma_s: float, runs, seed: int, after: After):
        self.scenario, self.nominal = scenario, nominal
        names = list(scenario.sampling.quantities) if scenario.sampling else []
        terms = terms_of(len(names) + 1)
        self.count = runs or max(128, 2 ** math.ceil(math.log2(3.0 * terms)))
        if self.count < 2 * terms:
            raise InputError(
                "--runs", f"{self.count} are given, {len(names)} inputs need at least {2 * terms}; change it"
            )
        ratio = self._first_ratio(change_s, after)
        reach = (_RANGE_SHARE * abs(change_s) + _RANGE_SIGMAS * sigma_s) / ratio
        self.targets = (change_s / ratio - reach, change_s / ratio + reach)
        self.inputs, self.target = self._points(names, seed)
        self._run(after)

    def _first_ratio(self, change_s: float, after: After) -> float:
        """Simulated over closed-form change at the nominal inputs, where the latter is the measured one."""
        one = pairs(self.scenario, self.nominal, {}, 1).as_found([self.nominal])
        lever = leverage(self.nominal.system, self.scenario) if self.scenario.impactor else None
        if lever is not None and not lever.hit[0]:
            raise InputError(self.scenario.place, "the impactor misses or grazes the moonlet; change its aim")
        momentum = _momentum(self.scenario, {}, 1)
        dv = _push_for(np.array([change_s]), one, lever, momentum, self.scenario)
        if not np.isfinite(dv[0]):
            raise InputError("--period-change-s", f"no push changes the period by {change_s:g} s; check it")
        state = _state_after(self.nominal.system, self.scenario, lever, dv[0], momentum[0])
        periods, regular = after([self.nominal.system], [state], self.scenario.simulation.days_after)
        simulated = periods[0] - self.nominal.period_h * HOUR_S
        if not (regular[0] and 0.5 < simulated / change_s < 2.0):
            raise ConvergenceError("the run at the stated values tumbles or ends early, no push is inferred", 1.0, 1)
        return simulated / change_s

    def _points(self, names: list[str], seed: int) -> tuple[dict[str, np.ndarray], np.ndarray]:
        from scipy.special import ndtri
        from scipy.stats import qmc

        cube = qmc.Sobol(len(names) + 1, rng=seed).random(self.count)
        scores = WIDER * ndtri(np.clip(cube[:, 1:], 1e-3, 1.0 - 1e-3))
        if names:
            scores = scores @ np.linalg.cholesky(np.array(self.scenario.sampling.correlation_matrix)).T
        inputs = {name: at_scores(self.scenario.sampling, name, z) for name, z in zip(names, scores.T, strict=True)}
        low, high = self.targets
        return inputs, low + (high - low) * cube[:, 0]

    def _run(self, after: After) -> None:
        found, begun, states = [], [], []
        for k in range(self.count):
            try:
                scenario = self.scenario
                if self.inputs:
                    scenario = varied(scenario, {name: float(x[k]) for name, x in self.inputs.items()})
                one = start(scenario) if self.inputs else self.nominal
                state = self._hit(scenario, one, self.target[k])
            except BinarydynError:
                continue
            if state is not None:
                found.append(k)
                begun.append(one)
                states.append(state)
        systems = [one.system for one in begun]
        periods, regular = after(systems, states, self.scenario.simulation.days_after) if found else (np.empty(0),) * 2
        found, regular = np.array(found, dtype=int), np.asarray(regular, dtype=bool)
        change = periods - np.array([one.period_h for one in begun]) * HOUR_S
        regular &= np.isfinite(change)
        x = _columns(self.inputs, self.count)
        kept = found[regular]
        if len(kept) < 2 * terms_of(x.shape[1] + 1):
            sentence = f"only {len(kept)} of {self.count} runs end well, too few for the relation; narrow [sampling]"
            raise ConvergenceError(sentence, 1.0 - len(kept) / self.count, self.count)
        departure = fitted(np.column_stack([x, self.target])[kept], change[regular] - self.target[kept])
        self.corrections = self._pair_corrections(x[found], begun, {n: v[found] for n, v in self.inputs.items()})
        bad = np.ones(self.count, dtype=bool)
        bad[kept] = False
        self._place_bad(departure, np.column_stack([x, self.target]), bad)
        error = max(fit.error for fit in self.corrections.values())
        self.relation = Relation(
            departure, self.count, self.count - len(kept), departure.error, float(error), self.targets
        )

    def _hit(self, scenario: Scenario, one: Start, target: float) -> State | None:
        """The state after the push with the wanted closed-form change; None where there is none."""
        lever = leverage(one.system, scenario) if scenario.impactor else None
        if lever is not None and not (lever.hit[0] and abs(lever.strength[0]) >= LEAST_STRENGTH):
            return None
        momentum = _momentum(scenario, {}, 1)
        pair = pairs(scenario, one, {}, 1).as_found([one])
        dv = _push_for(np.array([target]), pair, lever, momentum, scenario)[0]
        return _state_after(one.system, scenario, lever, dv, momentum[0]) if np.isfinite(dv) else None

    def _pair_corrections(self, x, begun: list[Start], inputs) -> dict[str, Quadratic]:
        """What masses and separations are besides what Kepler's third law says."""
        rough = pairs(self.scenario, self.nominal, inputs, len(begun))
        return {name: fitted(x, np.log(values)) for name, values in rough.against(begun).items()}

    def _place_bad(self, departure: Quadratic, points: np.ndarray, bad: np.ndarray) -> None:
        from scipy.spatial import cKDTree

        self._centre, self._width, self._bad = departure.centre, departure.width, bad
        self._tree = cKDTree((points - self._centre) / self._width) if bad.any() else None

    def nearest_is_bad(self, x: np.ndarray, target: np.ndarray) -> np.ndarray:
        """(m,) whether the simulation nearest to a draw, in sigmas of the design, tumbled or ended early."""
        if self._tree is None:
            return np.zeros(len(target), dtype=bool)
        z = (np.column_stack([x, target]) - self._centre) / self._width
        return self._bad[self._tree.query(np.where(np.isfinite(z), z, 0.0))[1]]


def _columns(inputs: dict[str, np.ndarray], count: int) -> np.ndarray:
    return np.column_stack(list(inputs.values())) if inputs else np.empty((count, 0))


def _lever(scenario: Scenario, nominal: Start, inputs: dict[str, np.ndarray], count: int) -> Leverage | None:
    return leverages(nominal.system, scenario, inputs or {"": np.zeros(count)}) if scenario.impactor else None


def _momentum(scenario: Scenario, inputs: dict[str, np.ndarray], count: int) -> np.ndarray:
    """(count,) m U of the impactor; zero without one."""
    if not scenario.impactor:
        return np.zeros(count)
    mass = inputs.get("impactor.mass_kg", scenario.impactor.mass_kg)
    speed = inputs.get("impactor.speed_km_s", scenario.impactor.speed_km_s)
    return np.broadcast_to(mass * 1e3 * speed, (count,)).astype(float)


def _solved(departure: Quadratic, x: np.ndarray, change_s: np.ndarray) -> np.ndarray:
    """(n,) closed-form changes whose simulated ones are the given: a fixed point that gains a digit or more a step."""
    target = change_s.copy()
    for _ in range(60):
        new = change_s - departure(np.column_stack([x, target]))
        moved, target = np.abs(new - target).max(), new
        if moved < 1e-7 * np.abs(change_s).max():
            break
    return target


def _push_for(target_s, pair: Pairs, lever: Leverage | None, momentum, scenario: Scenario) -> np.ndarray:
    """(n,) along-track pushes, m/s, with a closed-form change: |V + a + b dv_t|^2 = v^2 (2 - (P'/P)^(-2/3)).

    NaN where there is none.
    """
    v = 2.0 * np.pi * pair.separation_m / pair.period_s
    along = np.zeros((len(v), 3))
    along[:, 0] = v
    if lever is None:
        given = scenario.push
        a = np.array([[0.0, 1e-3 * given.radial_mm_s, 1e-3 * given.normal_mm_s]])
        b = np.array([[1.0, 0.0, 0.0]])
    else:
        with np.errstate(all="ignore"):
            a = lever.push(np.zeros(len(v)), pair.secondary_kg, momentum)
            b = lever.ejecta / lever.ejecta[:, :1]
    with np.errstate(all="ignore"):
        squared = v * v * (2.0 - (1.0 + target_s / pair.period_s) ** (-2.0 / 3.0))
        first = np.sum((along + a) * b, axis=1)
        rest = np.sum((along + a) ** 2, axis=1) - squared
        return -rest / (first + np.sqrt(first**2 - np.sum(b * b, axis=1) * rest))


def _state_after(system: System, scenario: Scenario, lever: Leverage | None, dv: float, momentum: float) -> State:
    """After a push with this along-track part, at the site or, without an impactor, at the centre of mass."""
    mass = system.secondary.mass_kg
    if lever is None:
        push = np.array([dv, 1e-3 * scenario.push.radial_mm_s, 1e-3 * scenario.push.normal_mm_s])
        point = np.zeros(3)
    else:
        push, point = lever.push(np.array([dv]), np.array([mass]), np.array([momentum]))[0], lever.point_m[0]
    return pushed(system, system.state, mass * (push @ orbit_axes(system.state)), point)


def _doubtful(beta: np.ndarray, change_s: float) -> tuple[str, ...]:
    """What an impact can hardly do; a change of the wrong sign is refused, since no beta explains it."""
    beta = beta[np.isfinite(beta)]
    if not len(beta):
        return ()
    if np.median(beta) < 0.0:
        raise InputError(
            "--period-change-s",
            f"{change_s:g} is given, but a hit from this direction changes the period the other way (beta would be "
            f"{np.median(beta):.3g}), allowed is a change that it can cause; check the sign and impactor.direction",
        )
    low = float(np.mean(beta < 1.0))
    if low < 0.01:
        return ()
    return (f"{100.0 * low:.0f} % of the draws have beta below 1: the ejecta would carry momentum onwards, not back",)


def _warnings(scenario: Scenario, status: np.ndarray, relation: Relation) -> tuple[str, ...]:
    said = []
    if scenario.observation.estimator != "weighted_fit":
        said.append("the period after the impact is that of the weighted fit, whatever observation.estimator says")
    if not (scenario.sampling and scenario.sampling.quantities):
        said.append("there is no [sampling], so only the measurement is uncertain here; give the inputs' distributions")
    for name in ("reshaping", "boulders"):
        if getattr(scenario, name, None):
            said.append(f"[{name}] is not taken into account")
    for name, words in (
        (UNSTABLE, "are nearest to a run that tumbles, ends early or is refused"),
        (MISS, "miss or graze the moonlet"),
        (NO_PUSH, "have no push, or no leverage of beta, that gives the change"),
        (OUTSIDE, "need a push outside the simulated ones"),
    ):
        if number := int(np.sum(status == name)):
            said.append(f"{number} of {len(status)} draws {words}; they are left out")
    if relation.left_out:
        said.append(f"{relation.left_out} of {relation.runs} simulations tumble, end early or are refused")
    return tuple(said)
