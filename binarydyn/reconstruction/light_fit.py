"""What happened, from measured light, with event times or without: the fit of noise, columns and motion in turn.

The noise of the light is found about a solution with its slopes integrated out, the columns of the surfaces are taken
anew there, and the solution again; twice is enough, since both depend little on it.  Draws are those of posterior.py.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from ..errors import ConvergenceError, InputError
from ..photometry.measured_light import MeasuredLight
from ..photometry.noise_fit import NoiseSize
from ..photometry.two_laws import CAUSES, LAW, LAW_SIGMA
from ..scenario import Scenario
from ..timing.evidence import typical_tau_s
from ..timing.mid_times import MidTimes
from ..timing.noise import Noise
from .event_times import EventModel
from .horizon import horizon_s
from .light import LightModel
from .likelihood import Likelihood
from .newton import Solved, again, grown, slope_steps, solved
from .posterior import Looking, WhatHappened, check_draws, noise_of_times, what_happened
from .scatter import NoiseGrid
from .together import JointNoise, TimesAndLight

ROUNDS = 2
_LEAST_POINTS = 10
_AXES, _OTHER_SHAPE = ("secondary.semi_axes_m.0", "secondary.semi_axes_m.1"), 1.2
"""What decides the libration, and by how many prior sigmas other minima of it are looked for."""


@dataclass(frozen=True)
class LightFit:
    """A solution about which all is taken as linear: likelihood with its noise, covariance (p, p) of u."""

    data: TimesAndLight
    size: NoiseSize
    likelihood: Likelihood
    solved: Solved
    covariance: np.ndarray


def fitted_light(data: TimesAndLight, times: Noise | None = None, u: np.ndarray | None = None) -> LightFit:
    """From a guess u (p,), None for the nominal one; times: noise of the event times.

    Errors: ConvergenceError where no motion lasts near it.
    """
    u = np.zeros(len(data.unknowns.names)) if u is None else u
    size = NoiseSize(1.0, 0.0, 1800.0, np.inf)
    likelihood = _likelihood(data, times, size)
    found = grown(likelihood, u, data.time_s)
    for k in range(ROUNDS):
        data = replace(data, light=data.light.about(found.u))
        size = data.light.noise_size(found.u, _by_one_sigma(data, found))
        likelihood = _likelihood(data, times, size)
        found = again(likelihood, found) if k else _lowest(likelihood, found)
    return LightFit(data, size, likelihood, found, found.covariance(likelihood))


def _lowest(likelihood: Likelihood, near: Solved) -> Solved:
    """From a solution and from longer and rounder secondaries: its libration has several minima, as a frequency has."""
    found, names = again(likelihood, near), likelihood.model.unknowns.names
    if not set(_AXES) <= set(names):
        return found
    step = slope_steps(likelihood.weighing, found.slopes)
    for sign in (-1.0, 1.0):
        other = found.u.copy()
        for name, longer in zip(_AXES, (1.0, -1.0), strict=True):
            other[names.index(name)] += sign * longer * _OTHER_SHAPE
        with suppress(ConvergenceError, np.linalg.LinAlgError):
            one = solved(likelihood, other, step=step)
            found = one if one.cost < found.cost else found
    return found


def _likelihood(data: TimesAndLight, times: Noise | None, size: NoiseSize) -> Likelihood:
    noise = cast(Noise, data.noise(times, size))  # all that a likelihood asks of one
    return Likelihood(data, noise, 1.0, 0.0 if times is None else typical_tau_s(times))


def _by_one_sigma(data: TimesAndLight, found: Solved) -> np.ndarray:
    """(m, p) slopes of the light by one sigma of the priors; where these are flat, by ten scales."""
    sigma = data.unknowns.prior_sigma_u
    of_light = found.slopes[len(found.late) - len(data.light.observed) :]
    return of_light * np.where(np.isfinite(sigma), sigma, 10.0)


def found_in_light(
    scenario: Scenario, light: MeasuredLight, mids: MidTimes | None = None, draws: int = 400, seed: int = 0,
    bounds: tuple[float, float] = (-np.inf, np.inf), workers: int | None = None,
) -> WhatHappened:  # fmt: skip
    """From measured light, with event times or without; as found_in.

    InputError where neither side of t0 has data, and as LightModel; ConvergenceError where no motion shows them.
    """
    check_draws(draws, seed)
    model = LightModel.of(scenario, light, workers=workers)
    horizon = horizon_s(model.motion, np.zeros(len(model.unknowns.names)))
    within = light.time_s <= horizon
    _check_sides(scenario, light.chosen(within))
    model = model if within.all() else LightModel.of(scenario, light.chosen(within), workers=workers)
    left_out, events, times = int(np.sum(~within)), None, None
    if mids is not None:
        events, beyond = _events_within(scenario, mids, model, horizon)
        left_out += beyond
        times = noise_of_times(events)
    fit = fitted_light(TimesAndLight(events, model), times)
    how = Looking(fit.data, fit.solved, bounds, draws, seed)
    return what_happened(fit.data, _grid(fit, events), how, horizon, left_out)


def _grid(fit: LightFit, events: EventModel | None) -> NoiseGrid:
    """Of the times' noise; that of the light is told so well that its best numbers serve."""
    if events is None:
        return NoiseGrid((fit.likelihood,), np.zeros(1), np.ones(1))
    return NoiseGrid.of(fit.likelihood, fit.solved, events.mids.sigma_s is not None)


def _events_within(scenario: Scenario, mids: MidTimes, model: LightModel, horizon: float) -> tuple[EventModel, int]:
    """Those before the horizon, and how many are not."""
    mids = mids.sorted()
    events = EventModel.of(scenario, mids, model.unknowns, workers=model.motion.workers)
    near = events.observed_s <= horizon
    if not near.all():
        events = EventModel.of(scenario, mids.chosen(near), model.unknowns, workers=model.motion.workers)
    return events, int(np.sum(~near))


def _check_sides(scenario: Scenario, light: MeasuredLight) -> None:
    for side, there in (("before", light.time_s < 0.0), ("after", light.time_s >= 0.0)):
        if there.sum() < _LEAST_POINTS:
            raise InputError(
                f"{scenario.place}:impact_epoch_utc",
                f"{int(there.sum())} points of light lie {side} the impact within what can be predicted, "
                f"{_LEAST_POINTS} are needed; give light of both sides",
            )


def lambert_share(found: WhatHappened) -> tuple[float, float]:
    """Mean and sd of the share of Lambert's law, from the column that stands for it, over the draws."""
    light, size = found.data.light, cast(JointNoise, found.grid.best.noise).size
    assert light is not None
    k, column = light.causes.index(CAUSES[0]), light.columns
    weighing = size.of(light.noise)
    late = found.weighted.late[:, -len(column) :]
    # of normal numbers of one sigma each, given what is late: N^T C^-1 r, 1 - N^T C^-1 N
    told = weighing.applied(column[:, k : k + 1])[:, 0]
    weight = found.weighted.weight
    means = np.nan_to_num(late) @ told
    mean = float(weight @ means)
    variance = max(1.0 - float(column[:, k] @ told), 0.0) + float(weight @ (means - mean) ** 2)
    return LAW + LAW_SIGMA * mean, LAW_SIGMA * float(np.sqrt(variance))
