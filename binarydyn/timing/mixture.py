"""A number that is known as a mixture of Gaussians: its distribution, quantiles, intervals and draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_PARTS = 8
"""Of one alternative in a mixture that is kept; they differ in their sigma alone."""
_STEPS = 721
"""Values about each part at which scores are known: between them a value is good to 1e-4 of a sigma."""


@dataclass(frozen=True)
class Mixture:
    """Weights that sum to 1, means and sigmas, (c,) each, in the unit of the number."""

    weights: np.ndarray
    means: np.ndarray
    sigmas: np.ndarray

    @classmethod
    def gaussian(cls, mean: float, sigma: float) -> Mixture:
        """Of one part."""
        return cls(np.ones(1), np.array([mean]), np.array([sigma]))

    @property
    def mean(self) -> float:
        """Of the whole."""
        return float(self.weights @ self.means)

    @property
    def sigma(self) -> float:
        """Standard deviation of the whole."""
        return float(np.sqrt(self.weights @ (self.sigmas**2 + (self.means - self.mean) ** 2)))

    def cdf(self, value: float) -> float:
        """Probability of less."""
        from scipy.special import ndtr

        return float(self.weights @ ndtr((value - self.means) / self.sigmas))

    def density(self, value: np.ndarray) -> np.ndarray:
        """(k,) probability per unit at values (k,)."""
        z = (value[:, None] - self.means) / self.sigmas
        return np.exp(-0.5 * z**2) @ (self.weights / self.sigmas) / np.sqrt(2.0 * np.pi)

    def quantile(self, probability: float) -> float:
        """The number below which the probability lies, above 0 and below 1."""
        from scipy.optimize import brentq

        low, high = float((self.means - 40.0 * self.sigmas).min()), float((self.means + 40.0 * self.sigmas).max())
        return float(brentq(lambda v: self.cdf(v) - probability, low, high, xtol=1e-12 * max(abs(low), abs(high))))

    def interval(self, share: float) -> tuple[float, float]:
        """The central one that holds this share."""
        return self.quantile(0.5 - 0.5 * share), self.quantile(0.5 + 0.5 * share)

    def at_scores(self, z: np.ndarray) -> np.ndarray:
        """Values (n,) whose probability of less is that of standard normal scores z (n,)."""
        from scipy.special import ndtr, ndtri

        if len(self.weights) == 1:
            return self.means[0] + self.sigmas[0] * z
        values = np.unique(self.means[:, None] + self.sigmas[:, None] * np.linspace(-9.0, 9.0, _STEPS))
        away = (values[:, None] - self.means) / self.sigmas
        below, above = ndtr(away) @ self.weights, ndtr(-away) @ self.weights
        scores = np.where(below < above, ndtri(np.clip(below, 1e-300, 0.5)), -ndtri(np.clip(above, 1e-300, 0.5)))
        return np.interp(z, scores, values)

    def draws(self, random: np.random.Generator, count: int) -> np.ndarray:
        """(count,) values."""
        part = random.choice(len(self.weights), count, p=self.weights)
        return self.means[part] + self.sigmas[part] * random.standard_normal(count)

    def shifted(self, by: float, sigma: float = 0.0) -> Mixture:
        """The same plus a number, or plus one that is independent and known to a sigma."""
        return Mixture(self.weights, self.means + by, np.hypot(self.sigmas, sigma))

    def thinned(self) -> Mixture:
        """Of MOST_PARTS parts at most: those of like sigma are one, with their mean and sigma."""
        order = np.argsort(self.sigmas)
        share = (np.cumsum(self.weights[order]) - 0.5 * self.weights[order]) / self.weights.sum()
        bins = np.minimum((MOST_PARTS * share).astype(int), MOST_PARTS - 1)
        return mixed([_single(self.chosen(order[bins == b])) for b in np.unique(bins)])

    def chosen(self, which: np.ndarray) -> Mixture:
        """Some of the parts, with their weights."""
        return Mixture(*(column[which] for column in self.columns))

    @property
    def columns(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Weights, means, sigmas."""
        return self.weights, self.means, self.sigmas

    def as_dict(self) -> dict[str, list[float]]:
        """Plain data."""
        return dict(zip(("weights", "means", "sigmas"), (column.tolist() for column in self.columns), strict=True))


def mixed(parts: list[Mixture]) -> Mixture:
    """All parts, whose weights sum to 1 together."""
    return Mixture(*(np.concatenate(column) for column in zip(*(part.columns for part in parts), strict=True)))


def _single(part: Mixture) -> Mixture:
    """One Gaussian of the same weight, mean and sigma."""
    whole = part.weights.sum()
    own = Mixture(part.weights / whole, part.means, part.sigmas)
    return Mixture(np.array([whole]), np.array([own.mean]), np.array([own.sigma]))
