"""Event times and light as one set of data: numbers of two kinds, in seconds and in magnitudes, with one likelihood.

Their errors are independent, so C^-1 stands in two blocks.  Dips that are timed from the very nights whose light is
given are the same photons: give one of both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..photometry.noise_fit import NoiseSize
from ..photometry.red_noise import LightNoise, LightWeighing
from ..scenario import Scenario
from ..timing.mid_times import MidTimes
from ..timing.noise import Noise, Weighing
from .event_times import EventModel
from .light import LightModel
from .runs import GuessedMotion
from .unknowns import Unknowns


@dataclass(frozen=True)
class TimesAndLight:
    """Event times, or none, and light as functions of the same unknowns."""

    events: EventModel | None
    light: LightModel

    @classmethod
    def of(
        cls, scenario: Scenario, mids: MidTimes | None, light: LightModel, workers: int | None = None
    ) -> TimesAndLight:
        """Of measured mid-times beside light, with the unknowns of the latter.  Errors: as EventModel."""
        if mids is None:
            return cls(None, light)
        return cls(EventModel.of(scenario, mids, light.unknowns, workers=workers), light)

    @property
    def motion(self) -> GuessedMotion:
        """Of the pair."""
        return self.light.motion

    @property
    def unknowns(self) -> Unknowns:
        """What is guessed."""
        return self.light.unknowns

    @property
    def observed(self) -> np.ndarray:
        """(m,) event times, s from t0 at the system, then centred magnitudes."""
        return np.concatenate([[] if self.events is None else self.events.observed_s, self.light.observed])

    @property
    def time_s(self) -> np.ndarray:
        """(m,) when each was measured, s from t0 at the system."""
        return np.concatenate([[] if self.events is None else self.events.observed_s, self.light.light.time_s])

    def predicted(self, u: np.ndarray) -> np.ndarray:
        """(n, m) of guesses u (n, p); nan rows where one does not last."""
        parts = [] if self.events is None else [self.events.predicted_s(u)]
        return np.hstack([*parts, self.light.predicted(u)])

    def noise(self, times: Noise | None, size: NoiseSize) -> JointNoise:
        """That of the times, and of the light with its numbers."""
        count = 0 if self.events is None else len(self.events.observed_s)
        none = np.zeros((count, 0))
        return JointNoise.of(times or Noise(np.zeros(count), np.zeros((0, count)), none, none), self.light.noise, size)


@dataclass(frozen=True)
class JointNoise:
    """What a likelihood asks of timing.noise.Noise, of both kinds of data.

    sigma_s (m,): one sigma of each on its own, s, then magnitudes.  members (g, m): which times share an error.  The
    scale of a likelihood is that of the times; of the light too where there is no time.
    """

    sigma_s: np.ndarray
    members: np.ndarray
    times: Noise
    light: LightNoise
    size: NoiseSize

    @classmethod
    def of(cls, times: Noise, light: LightNoise, size: NoiseSize) -> JointNoise:
        """With the numbers of the light's noise."""
        count = len(light.sigma_mag)
        members = np.hstack([times.members, np.zeros((len(times.members), count))])
        return cls(np.concatenate([times.sigma_s, light.sigma_mag]), members, times, light, size)

    @property
    def as_stated(self) -> JointNoise:
        """With sigmas of points as they were given."""
        return replace(self, size=replace(self.size, scale=1.0))

    @property
    def _count(self) -> int:
        return len(self.times.sigma_s)

    def _light_at(self, scale: float) -> tuple[LightNoise, NoiseSize]:
        own = 1.0 if self._count else scale
        noise = replace(self.light, sigma_mag=self.sigma_s[self._count :])
        return noise, replace(self.size, scale=own * self.size.scale)

    def _times(self) -> Noise:
        return replace(self.times, sigma_s=self.sigma_s[: self._count])

    def own_variance(self, scale: float) -> np.ndarray:
        """(m,) of each number, common errors apart; red noise is each point's own here."""
        noise, size = self._light_at(scale)
        of_light = (size.scale * noise.sigma_mag) ** 2 + size.amplitude_mag**2
        return np.concatenate([self._times().own_variance(scale), of_light])

    def at(self, scale: float, tau_s: float) -> JointWeighing:
        """The inverse with these numbers."""
        noise, size = self._light_at(scale)
        return JointWeighing(self._times().at(scale, tau_s), size.of(noise), self._count)


@dataclass(frozen=True)
class JointWeighing:
    """C^-1 in two blocks, the first of `count` numbers, with the methods of timing.noise.Weighing."""

    times: Weighing
    light: LightWeighing
    count: int

    @property
    def ln_det(self) -> float:
        """ln |C|."""
        return self.times.ln_det + self.light.ln_det

    def applied(self, a: np.ndarray) -> np.ndarray:
        """C^-1 a for a (.., m, k)."""
        first, second = a[..., : self.count, :], a[..., self.count :, :]
        return np.concatenate([self.times.applied(first), self.light.applied(second)], axis=-2)

    def gram(self, a: np.ndarray) -> np.ndarray:
        """(.., k, k) a^T C^-1 a for a (.., m, k)."""
        return np.swapaxes(a, -1, -2) @ self.applied(a)
