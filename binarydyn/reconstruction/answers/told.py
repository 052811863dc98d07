"""What weighted draws of what happened say: intervals of everything, how well the motion explains the data, doubts.

Below LEAST_DRAWS effective draws, or with k-hat above MOST_K, only the interval of the period change is told, that of
the fit's one Gaussian, with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ...constants import DAY_S
from ...scenario import Scenario
from ..importance import MOST_K
from ..newton import STEP
from ..posterior import WhatHappened
from ..scatter import NoiseGrid
from ..together import JointNoise
from .shapes import shapes_of
from .weighing import weighted_spread

LEAST_DRAWS = 100.0
"""Effective: fewer do not hold an interval of 95 %."""
IMPROBABLE = 0.01
"""Posterior predictive probability of a larger chi2, below which the motion does not explain the data."""
_CHAOTIC = 0.02
"""Share of chaotic draws from which on it is told."""
_OFF = 1.3
_NIGHT_S = 10.0
"""Scale of the sigmas, and common error of a night, from which on they are told."""


@dataclass(frozen=True, eq=False)
class Reconstruction:
    """Weighted draws, n of them, of what happened to a scenario's pair.

    columns: arrays (n,) by name, of the unknowns in their units and of what follows (SHAPES), nan where a draw weighs
    nothing or something is not defined; weight (n,): sums to 1.
    """

    scenario: Scenario
    found: WhatHappened

    @property
    def columns(self) -> dict[str, np.ndarray]:
        """By name."""
        return self.found.columns

    @property
    def weight(self) -> np.ndarray:
        """(n,) of the draws."""
        return self.found.weighted.weight

    @property
    def effective(self) -> float:
        """Independent draws that the weighted ones are worth: the fewer of the last step's and the sampler's."""
        return min(self.found.weighted.effective, self.found.draws.effective)

    @property
    def k_hat(self) -> float:
        """Of the sampler's weights; of the last step's too where less than half of its draws count."""
        last = self.found.weighted
        few = last.effective < 0.5 * len(last.ln_weight)
        return max(self.found.draws.k_hat, last.k_hat) if few else self.found.draws.k_hat

    @property
    def chaotic_share(self) -> float:
        """Of the draws of the last step, before their exact weights."""
        return float(self.found.weighted.left_out.mean())

    @property
    def why_not(self) -> str:
        """Why the draws do not hold; empty where they do."""
        if self.effective < LEAST_DRAWS:
            return f"{self.effective:.0f} effective draws are fewer than {LEAST_DRAWS:.0f}"
        return f"k-hat {self.k_hat:.2f} is above {MOST_K:g}" if self.k_hat > MOST_K else ""

    @cached_property
    def fisher(self) -> dict[str, tuple[float, float]]:
        """Value and sigma of everything by the slopes of the fit, were all linear."""
        found, reference = self.found, self.found.reference
        asked, p = found.data.unknowns, len(reference.u)
        u = reference.u + STEP * np.vstack([np.zeros(p), np.eye(p), -np.eye(p)])
        shapes = shapes_of(found.data.motion, u, np.ones(len(u), dtype=bool), np.isinf(found.horizon_s))
        columns = dict(zip(asked.names, asked.value(u).T, strict=True)) | shapes
        covariance = reference.covariance(found.grid.best)
        told = {}
        for name, values in columns.items():
            slope = (values[1 : p + 1] - values[p + 1 :]) / (2.0 * STEP)
            told[name] = float(values[0]), float(np.sqrt(slope @ covariance @ slope))
        return told

    @cached_property
    def by_change_alone(self) -> dict[str, float] | None:
        """Of what scales the impact: from the draws of the prior, with the rest solved but not weighed."""
        conditional, draws = self.found.conditional, self.found.draws
        if conditional.at < 0:
            return None
        first = slice(0, draws.prior)
        value = conditional.bounded_value(draws.found[first])
        known = np.isfinite(draws.ln[first]) & (value * np.median(value) > 0.0)
        return (
            weighted_spread(value[known], np.abs(value[known]) / np.abs(value[known]).sum())
            if known.sum() > 1
            else None
        )

    @property
    def impulse(self) -> str | None:
        """Name of the unknown that scales the impact."""
        return self.found.conditional.bounded

    @property
    def degrees(self) -> float:
        """Data less the number of unknowns that they decide."""
        found = self.found
        of_data = found.grid.best.weighing.gram(found.reference.slopes)
        whole = of_data + np.diag(found.grid.best.information)
        return len(found.data.observed) - float(np.trace(np.linalg.solve(whole, of_data)))

    @property
    def _as_told(self) -> NoiseGrid:
        """That of the intervals; of light with the sigmas of its points as they are stated."""
        grid = self.found.grid
        nodes = [
            replace(node, noise=node.noise.as_stated) if isinstance(node.noise, JointNoise) else node
            for node in grid.nodes
        ]
        return replace(grid, nodes=tuple(nodes))

    @cached_property
    def _chi2(self) -> tuple[np.ndarray, np.ndarray]:
        """r^T C^-1 r at every scale and common error (k, n), and the shares of these in each draw (k, n)."""
        late = self.found.weighted.late
        known = np.isfinite(late).all(axis=1)
        own = self._as_told.chi2(late[known])
        chi2, shares = (np.full((len(own), len(late)), np.nan) for _ in range(2))
        chi2[:, known], shares[:, known] = own, self._as_told.shares(own)
        return chi2, shares

    @property
    def chi2(self) -> np.ndarray:
        """(n,) r^T C^-1 r of each draw, over the scales and common errors that intervals have; nan where one has no
        motion."""
        chi2, shares = self._chi2
        return np.sum(shares * chi2, axis=0)

    @property
    def predictive_p(self) -> float:
        """Posterior probability that new data of the same draws, which have a chi2 of their number, have a larger one
        (Gelman, Meng & Stern 1996, Statistica Sinica 6, 733, from memory)."""
        from scipy.special import chdtrc

        chi2, shares = self._chi2
        larger = np.sum(shares * chdtrc(len(self.found.data.observed), chi2), axis=0)
        return float(self.weight @ np.nan_to_num(larger))

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a reader must know, the heaviest first."""
        return (*self._not_claimed(), *self._misfit(), *self._noise(), *self._of_the_table())

    def _of_the_table(self) -> tuple[str, ...]:
        events = self.found.data.events
        return () if events is None else events.mids.warnings

    def _not_claimed(self) -> tuple[str, ...]:
        said = []
        if self.why_not:
            said.append(f"{self.why_not}: nothing but the interval of the period change is told, that of one Gaussian")
        if np.isfinite(self.found.horizon_s):
            said.append(
                f"the motion is chaotic: neighbouring trajectories part {self.found.horizon_s / DAY_S:.1f} days after "
                f"the impact; nothing is claimed beyond that, and {self.found.left_out} later data are not used"
            )
        if self.chaotic_share > _CHAOTIC:
            said.append(
                f"in {100.0 * self.chaotic_share:.0f} % of the draws the motion is chaotic, so that it explains times "
                "by chance alone: they are left out"
            )
        return tuple(said)

    def _misfit(self) -> tuple[str, ...]:
        data = self.found.data
        unstated = data.events is not None and data.events.mids.sigma_s is None
        if unstated or self.predictive_p > IMPROBABLE:
            return ()
        what, check = ("times", "sigmas, what was timed, kinds and bodies") if data.light is None else (
            "light", "sigmas and shapes")  # fmt: skip
        return (
            f"the motion does not explain the {what} (posterior predictive p {self.predictive_p:.2g}): check "
            f"{check}; errors follow the scatter, not what the model lacks",
        )

    def _noise(self) -> tuple[str, ...]:
        return (*self._noise_of_times(), *self._noise_of_light())

    def _noise_of_light(self) -> tuple[str, ...]:
        noise = self.found.grid.best.noise
        if not isinstance(noise, JointNoise) or noise.size.scale < _OFF:
            return ()
        return (f"points of light scatter {noise.size.scale:.2f} times their sigma; errors follow the scatter",)

    def _noise_of_times(self) -> tuple[str, ...]:
        grid, said = self.found.grid, []
        if self.found.data.events is None:
            return ()
        (scale, spread_of_scale), (tau, _) = grid.moments("scale"), grid.moments("tau_s")
        if abs(np.log(scale)) > np.log(_OFF) + 2.0 * spread_of_scale / scale:
            said.append(f"times scatter {scale:.2f} times their sigma; errors follow the scatter")
        if tau > _NIGHT_S:
            said.append(f"times of one night share an error of {tau:.0f} s")
        if self.found.outliers:
            said.append(f"{self.found.outliers} times lie far off and weigh little")
        return tuple(said)
