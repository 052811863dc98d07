"""What is fitted: readings of conjunctions, their noise, priors; and causes of wrong middles larger than was said."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .evidence import UNSTATED_SIGMA_S, Weigher
from .mid_times import Readings
from .middles import OFFSET_OF, Middles
from .noise import Noise
from .starts import Minima, polished
from .terms import INDEX, Foreknown, Priors

MOST_OFF = 3.0
"""Sigmas of its prior from which a cause of wrong middles is taken to be larger than was said."""
MOST_ALIKE = 2.0
"""The same of offsets of kinds and of the ellipse before t0, which share what is off; honest data, to 60 s an event,
have 1.0 at most (120 simulated campaigns of two systems)."""
SETTLED = 1.2
"""Sigmas at which such a cause may stay: its prior is then as wide as it is off, and hardly holds it back."""
UNNAMED = "shapes, pole or surface"
ELLIPSE = "ellipse that an impulse makes"
_ROUNDS = 6
_BEFORE = [INDEX["h_before"], INDEX["k_before"]]


@dataclass(frozen=True)
class Task:
    """seen: of conjunctions.  stated: whether sigmas are.  factors (k,): by which causes were made larger, with their
    names, which may be empty; untied: the same of the ellipse after t0, that it differs from what is foreknown."""

    seen: Readings
    noise: Noise
    priors: Priors
    stated: bool
    factors: np.ndarray
    causes: tuple[str, ...]
    untied: float = 1.0

    @classmethod
    def of(
        cls,
        seen: Readings,
        sigma_s: np.ndarray | None,
        group: np.ndarray | None,
        middles: Middles | None,
        expected: Foreknown,
    ) -> Task:
        """From what `timing` is given."""
        if middles is not None:
            seen = middles.conjunctions(seen, expected.apsidal_rad_s)
        sigma = np.full(len(seen.time_s), UNSTATED_SIGMA_S) if sigma_s is None else sigma_s
        noise = Noise.of(sigma, group, None if middles is None else middles.columns_s)
        number, names = noise.causes_s.shape[1], () if middles is None else middles.causes
        causes = (*names, *[""] * (number - len(names)))
        priors = Priors.of(expected, float(np.abs(seen.time_s).max()))
        return cls(seen, noise, priors, sigma_s is not None, np.ones(number), causes)

    @property
    def larger(self) -> tuple[tuple[str, float], ...]:
        """Causes that were made larger, each with its greatest factor."""
        found = {ELLIPSE: self.untied} if self.untied > 1.0 else {}
        for name, factor in zip(self.causes, self.factors.tolist(), strict=True):
            if factor > 1.0:
                found[name or UNNAMED] = max(factor, found.get(name or UNNAMED, 1.0))
        return tuple(sorted(found.items()))

    def weigher(self, found: Minima) -> Weigher:
        """Of the evidence of some minima."""
        return Weigher.of(found, self.noise, self.priors, self.stated)

    def loosened(self, best: Minima) -> Task:
        """With wider priors of those causes that the best minimum (b = 1) finds more than MOST_OFF sigmas off.

        Offsets of kinds are widened together, and where an ellipse before t0 stands out: half a turn apart, events that
        are late and events that are early are told neither from each other nor from an ellipse.
        """
        task = self
        for _ in range(_ROUNDS):
            weighing = task.noise.at(*task.weigher(best).peak())
            best = polished(best.x, best.counted, weighing, task.priors, 10)
            late = best.counted.late_s(best.x)[0]
            off = np.abs(task.noise.causes_s.T @ weighing.applied(late[:, None])[:, 0])
            factor = task._factors(off, float(np.abs(task.priors.away(best.x)[0, _BEFORE]).max()))
            untied = task._factor(float(np.abs(task.priors.untied(best.x)).max()))
            if np.all(factor == 1.0) and untied == 1.0:
                break
            task = replace(
                task,
                noise=task.noise.loosened(factor),
                factors=task.factors * factor,
                priors=task.priors.loosened(untied),
                untied=task.untied * untied,
            )
        return task

    def _factor(self, off: float) -> float:
        """Of the ellipse after t0, that is off by so many sigmas."""
        return off if off > (SETTLED if self.untied > 1.0 else MOST_OFF) else 1.0

    def _factors(self, off: np.ndarray, ellipse: float) -> np.ndarray:
        """(k,) of causes that are off by so many sigmas (k,), as is the ellipse before t0."""
        alike = np.array([name.startswith(OFFSET_OF) for name in self.causes], dtype=bool)
        off = np.where(alike, max(ellipse, off[alike].max(initial=0.0)), off)
        most = np.where(self.factors > 1.0, SETTLED, np.where(alike, MOST_ALIKE, MOST_OFF))
        return np.where(off > most, off, 1.0)
