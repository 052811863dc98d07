"""The most probable unknowns behind measured light, with event times or without: noise, columns and motion in turn.

The noise of the light is found about a solution with its slopes integrated out, the columns of the surfaces are taken
anew there, and the solution again; twice is enough, since both depend little on it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from ..photometry.noise_fit import NoiseSize
from ..timing.evidence import TYPICAL_TAU_S
from ..timing.noise import Noise
from .light import LightModel
from .likelihood import Likelihood, quadratic
from .newton import Solved, grown, solved
from .together import TimesAndLight

ROUNDS = 2
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
    for _ in range(ROUNDS):
        data = replace(data, light=data.light.about(found.u))
        size = data.light.noise_size(found.u, _by_one_sigma(data, found))
        likelihood = _likelihood(data, times, size)
        found = solved(likelihood, found.u)
    return LightFit(data, size, likelihood, found, found.covariance(likelihood))


def _likelihood(data: TimesAndLight, times: Noise | None, size: NoiseSize) -> Likelihood:
    shared = times is not None and bool(np.any(times.members.sum(axis=1) > 1))
    noise = cast(Noise, data.noise(times, size))  # all that a likelihood asks of one
    return Likelihood(data, noise, 1.0, TYPICAL_TAU_S if shared else 0.0)


def _by_one_sigma(data: TimesAndLight, found: Solved) -> np.ndarray:
    """(m, p) slopes of the light by one sigma of the priors; where these are flat, by ten scales."""
    sigma = data.unknowns.prior_sigma_u
    of_light = found.slopes[len(found.late) - len(data.light.observed) :]
    return of_light * np.where(np.isfinite(sigma), sigma, 10.0)


def light_alone(model: LightModel) -> TimesAndLight:
    """Light without event times."""
    return TimesAndLight(None, model)
