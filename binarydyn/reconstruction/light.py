"""Modelled light at measured instants as a function of what is unknown: of many guesses at once, from their runs.

Magnitudes are centred over each zero point (one for each night, filter and observer), as measured ones are, so that a
guess has none of its own.  What is not known of the surfaces is in the columns of the noise (photometry/two_laws.py).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.linalg import block_diag

from ..constants import ASTRONOMICAL_UNIT_M, DAY_S, HOUR_S
from ..photometry.measured_light import MeasuredLight
from ..photometry.nodes import A_TURN
from ..photometry.noise_fit import NoiseSize, noise_size
from ..photometry.pair_light import LitRuns, PairLight, light_of_members
from ..photometry.red_noise import LightNoise
from ..photometry.two_laws import CAUSES, TwoLaws, with_zero_points
from ..sampling.members import cores
from ..scenario import Scenario
from ..scenario.variation import value_of
from ..sky.geometry import Sight, Sky
from .runs import GuessedMotion, Runs, Stretch
from .timed import plain_semi_axes_m
from .unknowns import Unknown, Unknowns

ROTATION = ("primary.spin_period_h", "primary.rotation_phase_deg")
_TURNED_DEG = 1.0
"""Scale of the primary's rotation: at t0, and by its period at the end of the data."""
_MARGIN_S = 2.0 * HOUR_S
_BLOCK = 128
"""Guesses that are run together."""


@dataclass(frozen=True)
class LightModel:
    """m measured points; sight covers them and t0.  around (p,): the guess about which columns and levels are taken,
    None for the nominal one."""

    motion: GuessedMotion
    light: MeasuredLight
    sight: Sight
    around: np.ndarray | None = None

    @classmethod
    def of(
        cls,
        scenario: Scenario,
        light: MeasuredLight,
        unknowns: Unknowns | None = None,
        refine: float = 1.0,
        workers: int | None = None,
    ) -> LightModel:
        """Of measured light; unknowns: None for those of the scenario and the primary's rotation.

        Errors: InputError, as Sky and GuessedMotion, and for bodies that are no plain ellipsoids.
        """
        sky, time = Sky.of(scenario), light.time_s
        sight = Sight(sky, min(float(time.min()), 0.0) - _MARGIN_S, max(float(time.max()), 0.0) + _MARGIN_S)
        before, after = (float(max(np.max(side * time), 0.0) + _MARGIN_S) / DAY_S for side in (-1.0, 1.0))
        unknowns = unknowns or with_rotation(scenario, Unknowns.of(scenario), max(before, after))
        return cls(GuessedMotion(scenario, unknowns, (before, after), refine, workers), light, sight)

    @property
    def unknowns(self) -> Unknowns:
        """What is guessed."""
        return self.motion.unknowns

    @cached_property
    def observed(self) -> np.ndarray:
        """(m,) measured magnitudes, centred over each zero point."""
        return self._laws.centred(self.light.magnitude)

    @cached_property
    def columns(self) -> np.ndarray:
        """(m, k) by how much one sigma of each of `causes` moves the magnitudes together."""
        g = self.sight.sky.at(self.light.time_s)
        distance = 5.0 * np.log10(g.sun_distance_m * g.observer_distance_m / ASTRONOMICAL_UNIT_M**2)
        columns = self._laws.columns(self._nominal, g.phase_angle_deg, distance)
        return with_zero_points(self.light, columns)

    @property
    def causes(self) -> tuple[str, ...]:
        """Names (k,) of the columns."""
        zero_points = self.columns.shape[1] - len(CAUSES)
        return (*(f"zero point {k + 1}" for k in range(zero_points)), *CAUSES)

    @cached_property
    def noise(self) -> LightNoise:
        """Of the points, with the columns."""
        return LightNoise.of(self.light.sigma_mag, self.light.time_s, self.light.run, self.columns)

    def noise_size(self, u: np.ndarray, slopes: np.ndarray | None = None) -> NoiseSize:
        """The most likely noise about a guess (p,); slopes (m, p) of the magnitudes by one sigma of what is fitted."""
        return noise_size(self.noise, self.observed - self.predicted(u)[0], slopes)

    def predicted(self, u: np.ndarray) -> np.ndarray:
        """(n, m) magnitudes of guesses u (n, p), centred over each zero point; nan rows where a guess does not last."""
        u = np.atleast_2d(u)
        blocks = [self.motion.runs(u[k : k + _BLOCK]) for k in range(0, len(u), _BLOCK)]
        return np.concatenate([self.magnitudes(runs) for runs in blocks])

    def magnitudes(self, runs: Runs) -> np.ndarray:
        """The same in runs."""
        found = self._laws.magnitudes(self.pair_light(runs).flux())
        return np.where(runs.lasts[:, None], found, np.nan)

    def pair_light(self, runs: Runs) -> PairLight:
        """Light of both bodies at the measured instants."""
        time, count = self.light.time_s, len(runs.why)
        found = PairLight(np.empty((count, len(time), 2, 2)), np.empty((count, len(time), 2, 2)))
        for stretch, here in ((runs.before, time < 0.0), (runs.after, time >= 0.0)):
            if here.any():
                part = self._on_one_side(runs, stretch, time[here])
                found.whole_m2[:, here], found.missing_m2[:, here] = part.whole_m2, part.missing_m2
        return found

    def _on_one_side(self, runs: Runs, stretch: Stretch, time: np.ndarray) -> PairLight:
        one, two = (plain_semi_axes_m(body) for body in (runs.starts.primary, runs.starts.secondary))
        lit = LitRuns(stretch.samples, 0.0, stretch.step_s, one, two, runs.turns)
        lines = self.sight.sunward(time), self.sight.earthward(time)
        return light_of_members(lit, time, *lines, self.motion.workers or cores(), node_s=self._node_s)

    @cached_property
    def _node_s(self) -> float:
        """By the faster of both turns."""
        spin_s = value_of(self.motion.scenario, ROTATION[0]) * HOUR_S
        return min(spin_s, self.motion.period_s) / A_TURN

    def change_s(self, u: np.ndarray) -> np.ndarray:
        """(n,) period change in the window of the data of guesses u (n, p)."""
        return self.motion.change_s(self.motion.runs(np.atleast_2d(u)), self.motion.days)

    def about(self, u: np.ndarray) -> LightModel:
        """The same with columns and levels about a guess (p,): what the law is worth moves with the events."""
        return replace(self, around=u)

    @cached_property
    def _nominal(self) -> PairLight:
        u = np.zeros(len(self.unknowns.names)) if self.around is None else self.around
        return self.pair_light(self.motion.runs(u[None]))

    @cached_property
    def _laws(self) -> TwoLaws:
        return TwoLaws.about(self._nominal, self.light.zero_point)


def with_rotation(scenario: Scenario, unknowns: Unknowns, days: float) -> Unknowns:
    """With the primary's rotation, flat, where it is not among the unknowns: light shows it, event times hardly.

    days: from t0 to the farthest point.
    """
    period = value_of(scenario, ROTATION[0])
    scales = period * _TURNED_DEG / 360.0 * period * HOUR_S / (days * DAY_S), _TURNED_DEG
    more = [
        Unknown(name, value_of(scenario, name), scale, smooth=True)
        for name, scale in zip(ROTATION, scales, strict=True)
        if name not in unknowns.names
    ]
    return replace(
        unknowns, each=(*unknowns.each, *more), mixing=block_diag(unknowns.mixing, np.eye(len(more)))
    )  # fmt: skip
