"""The most probable unknowns behind measured light, with event times or without: noise, columns and motion in turn.

The noise of the light is found about a solution with its slopes integrated out, the columns of the surfaces are taken
anew there, and the solution again; twice is enough, since both depend little on it.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from ..constants import DAY_S
from ..errors import ConvergenceError, InputError
from ..photometry.measured_light import MeasuredLight
from ..photometry.noise_fit import NoiseSize
from ..photometry.two_laws import CAUSES, LAW, LAW_SIGMA
from ..scenario import Scenario
from ..timing.evidence import UNSTATED_SIGMA_S, typical_tau_s
from ..timing.mid_times import MidTimes
from ..timing.noise import Noise
from .event_times import EventModel
from .horizon import horizon_s
from .light import LightModel
from .likelihood import Likelihood, quadratic
from .newton import Solved, grown, solved
from .together import TimesAndLight

ROUNDS = 2
_OFF = 1.3
"""chi2 per degree of freedom, and scale of the sigmas, from which on they are told."""
_LEAST_POINTS = 10
_AXES, _OTHER_SHAPE = ("secondary.semi_axes_m.0", "secondary.semi_axes_m.1"), 1.2
"""What decides the libration, and by how many prior sigmas other minima of it are looked for."""
_STEP = 0.02
"""Of u, in prior or fitted sigmas, for the slope of the change."""


@dataclass(frozen=True)
class LightFit:
    """A solution about which all is taken as linear: likelihood with its noise, covariance (p, p) of u."""

    data: TimesAndLight
    size: NoiseSize
    likelihood: Likelihood
    solved: Solved
    covariance: np.ndarray

    @property
    def law(self) -> tuple[float, float]:
        """Share of Lambert's law and one sigma of it, from the column that stands for it, at the solution."""
        light = self.data.light
        k, column = light.causes.index(CAUSES[0]), light.columns
        weighing = self.size.of(light.noise)
        late = self.solved.late[len(self.solved.late) - len(column) :, None]
        # of normal numbers of one sigma each, given what is late: N^T C^-1 r, 1 - N^T C^-1 N
        mean = float((column.T @ weighing.applied(late))[k, 0])
        spread = 1.0 - float(weighing.gram(column[:, k : k + 1])[0, 0])
        return LAW + LAW_SIGMA * mean, LAW_SIGMA * float(np.sqrt(max(spread, 0.0)))

    @property
    def chi2_per_dof(self) -> float:
        """Of the data, whose numbers less those that they tell."""
        told = np.eye(len(self.covariance)) - self.covariance * self.likelihood.information
        count = len(self.solved.late) - np.trace(told)
        return float(quadratic(self.likelihood.weighing, self.solved.late[None])[0] / count)

    def change_s(self) -> tuple[float, float]:
        """Period change in the window of the data and one sigma of it."""
        steps = _STEP * np.diag(np.sqrt(np.diag(self.covariance)))
        here, *moved = self.data.light.change_s(
            np.vstack([self.solved.u, self.solved.u + steps, self.solved.u - steps])
        )
        count = len(steps)
        slope = (np.array(moved[:count]) - np.array(moved[count:])) / (2.0 * np.diag(steps))
        return float(here), float(np.sqrt(slope @ self.covariance @ slope))


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
        found = solved(likelihood, found.u) if k else _lowest(likelihood, found.u)
    return LightFit(data, size, likelihood, found, found.covariance(likelihood))


def _lowest(likelihood: Likelihood, u: np.ndarray) -> Solved:
    """From u and from longer and rounder secondaries: its libration has several minima, as a frequency has."""
    found, names = solved(likelihood, u), likelihood.model.unknowns.names
    if not set(_AXES) <= set(names):
        return found
    for sign in (-1.0, 1.0):
        other = found.u.copy()
        for name, longer in zip(_AXES, (1.0, -1.0), strict=True):
            other[names.index(name)] += sign * longer * _OTHER_SHAPE
        with suppress(ConvergenceError, np.linalg.LinAlgError):
            again = solved(likelihood, other)
            found = again if again.cost < found.cost else found
    return found


def _likelihood(data: TimesAndLight, times: Noise | None, size: NoiseSize) -> Likelihood:
    noise = cast(Noise, data.noise(times, size))  # all that a likelihood asks of one
    return Likelihood(data, noise, 1.0, 0.0 if times is None else typical_tau_s(times))


def _by_one_sigma(data: TimesAndLight, found: Solved) -> np.ndarray:
    """(m, p) slopes of the light by one sigma of the priors; where these are flat, by ten scales."""
    sigma = data.unknowns.prior_sigma_u
    of_light = found.slopes[len(found.late) - len(data.light.observed) :]
    return of_light * np.where(np.isfinite(sigma), sigma, 10.0)


@dataclass(frozen=True)
class LightAnswer:
    """What light says of a scenario's pair, by one Gaussian.

    horizon_s: inf where the motion is regular; left_out: points beyond it.
    """

    scenario: Scenario
    fit: LightFit
    horizon_s: float
    left_out: int

    @property
    def rows(self) -> dict[str, tuple[float, float, float]]:
        """Value, one sigma and one sigma before (inf: flat) of each unknown by name, in its unit."""
        asked, fit = self.fit.data.unknowns, self.fit
        sigma = np.sqrt(np.diag(fit.covariance)) * asked.scale
        before = asked.prior_sigma_u * asked.scale
        value = asked.value(fit.solved.u[None])[0]
        return dict(zip(asked.names, zip(value.tolist(), sigma.tolist(), before.tolist(), strict=True), strict=True))

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a reader must know."""
        said, fit = [], self.fit
        if np.isfinite(self.horizon_s):
            said.append(
                f"the motion is chaotic: nothing is claimed beyond {self.horizon_s / DAY_S:.1f} days after the impact, "
                f"{self.left_out} data are left out"
            )
        if fit.chi2_per_dof > _OFF:
            said.append(
                f"chi2 is {fit.chi2_per_dof:.2f} per degree of freedom: these bodies and laws do not hold the data"
            )
        if fit.size.scale > _OFF:
            said.append(f"points scatter {fit.size.scale:.2f} times as much as is stated")
        events = fit.data.events
        return (*said, *(events.mids.warnings if events is not None else ()))


def light_answer(
    scenario: Scenario, light: MeasuredLight, mids: MidTimes | None = None, workers: int | None = None
) -> LightAnswer:
    """From measured light, with event times or without.

    InputError where neither side of t0 has data, and as LightModel; ConvergenceError where no motion shows them.
    """
    model = LightModel.of(scenario, light, workers=workers)
    horizon = horizon_s(model.motion, np.zeros(len(model.unknowns.names)))
    within = light.time_s <= horizon
    light = light.chosen(within)
    _check_sides(scenario, light)
    model = model if within.all() else LightModel.of(scenario, light, workers=workers)
    left_out, events, times = int(np.sum(~within)), None, None
    if mids is not None:
        events = EventModel.of(scenario, mids, model.unknowns, workers=workers)
        near = events.observed_s <= horizon
        left_out += int(np.sum(~near))
        events = events if near.all() else EventModel.of(scenario, mids.chosen(near), model.unknowns, workers=workers)
        times = noise_of_times(events)
    return LightAnswer(scenario, fitted_light(TimesAndLight(events, model), times), horizon, left_out)


def noise_of_times(events: EventModel) -> Noise:
    """Of event times beside light; where no sigma is stated, a usual one."""
    mids = events.mids
    sigma = np.full(len(mids), UNSTATED_SIGMA_S) if mids.sigma_s is None else mids.sigma_s
    return Noise.of(sigma, mids.group, events.columns_s)


def _check_sides(scenario: Scenario, light: MeasuredLight) -> None:
    for side, there in (("before", light.time_s < 0.0), ("after", light.time_s >= 0.0)):
        if there.sum() < _LEAST_POINTS:
            raise InputError(
                f"{scenario.place}:impact_epoch_utc",
                f"{int(there.sum())} points of light lie {side} the impact within what can be predicted, "
                f"{_LEAST_POINTS} are needed; give light of both sides",
            )
