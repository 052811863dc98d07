"""From measured event times to what happened: weighted draws of all unknowns, and what they are worth.

The fit of everything gives the slopes, the noise and what one Gaussian would say; rough unknowns are then sampled with
the smooth ones integrated out, both with coarse middles of dips, and all draws weighed exactly.  In chaos nothing is
claimed beyond the horizon.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np

from ..constants import DAY_S
from ..errors import ArgumentError, ConvergenceError
from ..scenario import Scenario
from ..scenario.tables.sampling import check_seed
from ..timing.cycle_count import check_enough
from ..timing.evidence import UNSTATED_SIGMA_S, typical_tau_s
from ..timing.mid_times import MidTimes
from ..timing.noise import Noise
from .answers.shapes import shapes_of
from .chord import Conditional
from .event_times import EventModel
from .exact import ExactWeights, Weighted, exactly_weighed
from .horizon import chaotic, horizon_s
from .importance import RoughDraws, adapted, prior_draws, refreshed
from .light import LightModel
from .likelihood import Foretold, Likelihood
from .newton import Solved, again, best_of
from .runs import GuessedMotion
from .scatter import NoiseGrid, at_peak, without_outliers
from .unknowns import Unknowns

DRAWS = (50, 100_000)
_STARTS = 4
_GOOD = 1.5
"""chi2 per degree of freedom below which no further start is tried."""
_LEAST_EVENTS = 3
"""Within the horizon on either side of t0."""
_NODES = 6
"""Scales and common errors over which rough unknowns are looked for."""
_FOR_KERNELS = 100.0
"""Effective draws from which kernels of the fresh ones are made."""
_WORTH = 1e-4
"""Share of the heaviest draw from which on the shape of its motion is looked at."""
IMPULSES = ("momentum_transfer.beta", "velocity_change.along_track_mm_s", "impactor.mass_kg")
"""Unknowns that scale the impact, of which bounds may be given."""


class Measured(Foretold, Protocol):
    """What was measured of a scenario's pair, times before light, and the runs in which it is looked for."""

    @property
    def motion(self) -> GuessedMotion:
        """Of the pair."""

    @property
    def events(self) -> EventModel | None:
        """Event times."""

    @property
    def light(self) -> LightModel | None:
        """Light."""


@dataclass(frozen=True)
class Timed:
    """Event times as a likelihood sees them; later_s (m,): added to what is predicted."""

    events: EventModel
    later_s: np.ndarray | float = 0.0

    @classmethod
    def coarsely(cls, events: EventModel, u: np.ndarray) -> Timed:
        """As coarse dips have them, put right where the unknowns are u (p,)."""
        coarse = events.coarse
        later = (events.predicted_s(u) - coarse.predicted_s(u))[0]
        return cls(coarse, np.nan_to_num(later))

    @property
    def motion(self) -> GuessedMotion:
        """Of the pair."""
        return self.events.motion

    @property
    def light(self) -> None:
        """No light."""

    @property
    def unknowns(self) -> Unknowns:
        """What is guessed."""
        return self.events.unknowns

    @property
    def observed(self) -> np.ndarray:
        """(m,) s."""
        return self.events.observed_s

    def predicted(self, u: np.ndarray) -> np.ndarray:
        """(n, m) s."""
        return self.events.predicted_s(u) + self.later_s


@dataclass(frozen=True)
class WhatHappened:
    """What was done: the data (those within the horizon) and their model, the fit of everything, the noise, draws of
    the rough unknowns, weighted draws of all, and columns (n,) of these by name: unknowns in their units, and SHAPES.

    horizon_s: inf where the motion is regular.  outliers: None where the loss is not robust.  left_out: data beyond
    the horizon.
    """

    data: Measured
    reference: Solved
    grid: NoiseGrid
    conditional: Conditional
    draws: RoughDraws
    weighted: Weighted
    columns: dict[str, np.ndarray]
    horizon_s: float
    left_out: int
    outliers: int | None


def found_in(
    scenario: Scenario, mids: MidTimes, draws: int = 400, seed: int = 0, robust: bool = False,
    bounds: tuple[float, float] = (-np.inf, np.inf), workers: int | None = None,
) -> WhatHappened:  # fmt: skip
    """From measured times.

    draws: weighted ones of the last step.  bounds: of what scales the impact, beta where it is asked for.
    Errors: InputError for numbers that are not allowed and scenarios that have no impact or place, ConvergenceError
    where no motion shows the events.
    """
    check_draws(draws, seed)
    mids = mids.sorted()
    events = EventModel.of(scenario, mids, workers=workers)
    check_enough(events.observed_s > 0.0)
    horizon = horizon_s(events.motion, np.zeros(len(events.unknowns.names)))
    within = events.observed_s <= horizon
    if not within.all():
        events = _nearer(scenario, mids.chosen(within), events.observed_s[within], horizon, workers)
    likelihood = _noisy(events)
    reference, likelihood, outliers = _fitted(likelihood, events, seed, robust)
    grid = NoiseGrid.of(replace(likelihood, model=Timed(events)), reference, mids.sigma_s is not None)
    left_out = int(np.sum(~within))
    how = Looking(likelihood.model, reference, bounds, draws, seed)
    return what_happened(Timed(events), grid, how, horizon, left_out, outliers)


@dataclass(frozen=True)
class Looking:
    """How draws are made: the model by which good ones are looked for, a solution about which, bounds of what scales
    the impact, how many weighted draws, the seed."""

    model: Foretold
    reference: Solved
    bounds: tuple[float, float]
    draws: int
    seed: int


def what_happened(
    data: Measured, grid: NoiseGrid, how: Looking, horizon: float, left_out: int, outliers: int | None = None
) -> WhatHappened:
    """Draws of the rough unknowns, then weighted ones of all.  ConvergenceError where no draw shows the data."""
    looking, few, seed = replace(grid.best, model=how.model), grid.few(_NODES), how.seed
    few = replace(few, nodes=tuple(replace(node, model=how.model) for node in few.nodes))
    conditional = Conditional(looking, how.reference, _bounded(data.unknowns), how.bounds, few)
    some = adapted(conditional, conditional.dimensions, seed, conditional.start, _FOR_KERNELS)
    if np.isfinite(some.ln_weight).any():
        some = refreshed(conditional, some, np.random.default_rng((seed, 2)))
    if not np.isfinite(some.ln_weight).any():
        raise ConvergenceError("no draw of the unknowns has a motion that shows what was measured; see [sampling]")
    every = exactly_weighed(conditional, some, ExactWeights(grid, partial(chaotic, data.motion)), how.draws, seed)
    if not np.isfinite(every.ln_weight).any():
        raise ConvergenceError("no draw of the unknowns has a regular motion that shows the data; see [sampling]")
    columns = dict(zip(data.unknowns.names, data.unknowns.value(every.u).T, strict=True))
    worth = every.weight > _WORTH * every.weight.max()
    columns |= shapes_of(data.motion, every.u, worth, np.isinf(horizon))
    return WhatHappened(data, how.reference, grid, conditional, some, every, columns, horizon, left_out, outliers)


def check_draws(draws: int, seed: int) -> None:
    """ArgumentError for numbers that are not allowed."""
    low, high = DRAWS
    if not low <= draws <= high:
        raise ArgumentError("draws", f"{draws} is given, allowed is {low} .. {high}; change it")
    check_seed(seed)


def _nearer(scenario: Scenario, mids: MidTimes, time_s: np.ndarray, horizon: float, workers) -> EventModel:
    if min(np.sum(time_s < 0.0), np.sum(time_s >= 0.0)) < _LEAST_EVENTS:
        raise ConvergenceError(
            f"the motion is chaotic: neighbouring trajectories part {horizon / DAY_S:.1f} days after the impact, and "
            f"fewer than {_LEAST_EVENTS} events on either side come before that; nothing is claimed"
        )
    return EventModel.of(scenario, mids, workers=workers)


def noise_of_times(events: EventModel) -> Noise:
    """Of event times; where no sigma is stated, a usual one."""
    mids = events.mids
    sigma = np.full(len(mids), UNSTATED_SIGMA_S) if mids.sigma_s is None else mids.sigma_s
    return Noise.of(sigma, mids.group, events.columns_s)


def _noisy(events: EventModel) -> Likelihood:
    noise = noise_of_times(events)
    model = Timed.coarsely(events, np.zeros(len(events.unknowns.names)))
    return Likelihood(model, noise, 1.0, typical_tau_s(noise))


def _fitted(
    likelihood: Likelihood, events: EventModel, seed: int, robust: bool
) -> tuple[Solved, Likelihood, int | None]:
    """The fit of everything, with the noise of the highest evidence about it."""
    stated, asked = events.mids.sigma_s is not None, events.unknowns
    known = np.where(np.isfinite(asked.prior_sigma_u), asked.prior_sigma_u, 0.0)
    starts = [np.zeros(len(known)), *(prior_draws(_STARTS - 1, len(known), seed) * known)]
    good = _GOOD * len(events.observed_s) if stated else np.inf
    reference, outliers = best_of(likelihood, starts, events.observed_s, good), None
    if robust:
        measured = likelihood
        for _ in range(2):
            late = reference.late - likelihood.later
            likelihood, outliers = without_outliers(measured, replace(reference, late=late))
            reference = again(likelihood, reference)
    likelihood = at_peak(likelihood, reference, stated or robust)
    likelihood = replace(likelihood, model=Timed.coarsely(events, reference.u))
    return again(likelihood, reference), likelihood, outliers


def _bounded(unknowns: Unknowns) -> str | None:
    """The smooth unknown that scales the impact."""
    smooth = [name for name, is_smooth in zip(unknowns.names, unknowns.smooth, strict=True) if is_smooth]
    return next((name for name in IMPULSES if name in smooth), None)
