"""How probable every minimum of the fit, scale of the stated sigmas and common error of a night are, given the data.

With y the solution of the linear problem about a minimum x,
  ln w = -(r^T C^-1 r + x^T P x - b^T H^-1 b)/2 - ln|C|/2 - ln|H|/2 + ln priors of s and tau,
  b = J^T C^-1 r + P x,  H = J^T C^-1 J + P
(Laplace's method, exact for a linear problem: MacKay 2003, Information Theory, Inference, and Learning Algorithms,
ch. 27, from memory).  s and tau go over a grid, so their uncertainty is in the answer: few events have wide tails.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from .noise import Noise
from .starts import Minima, Normal
from .terms import Priors

RATIOS = np.array([0.1, 0.25, 0.5, 0.8, 1.25, 2.0, 3.2, 5.0, 10.0, 30.0])
"""Of the common error of a night to the median error of a time of its own, where the evidence is taken."""
NO_COMMON_ERROR = 0.3
"""Probability before the data that nights have none; else the ratio is half-Cauchy of scale 1: what makes a time err
makes a night err by as much, more or less (Gelman 2006, Bayesian Analysis 1, 515, doi 10.1214/06-BA117A)."""
UNSTATED_SIGMA_S = 60.0
"""Where no sigma is stated; ln s is then normal about 0 with sd 1."""
AS_STATED, STATED_SD = 0.8, 0.1
"""Probability before the data that stated sigmas are right, to this sd of ln s; else it is 1."""
LEAST_SCALE = 0.25
"""Stated sigmas are not taken for more than four times too large."""
_GREATEST_LN, _COARSE = 3.0, 0.5
_BELOW = 12.0
"""Nodes of the grid whose ln w is lower than the highest by more say nothing."""


@dataclass(frozen=True)
class Weighed:
    """Rows (r,): weights that sum to 1, number of the minimum, scale s, tau_s; parameters x (r, 9) and their
    covariance (r, 9, 9) where these are given."""

    weight: np.ndarray
    minimum: np.ndarray
    scale: np.ndarray
    tau_s: np.ndarray
    x: np.ndarray
    covariance: np.ndarray

    @property
    def best(self) -> int:
        """Number of the heaviest row."""
        return int(np.argmax(self.weight))

    def chosen(self, which: np.ndarray) -> Weighed:
        """Some rows, with their weights."""
        return Weighed(*(getattr(self, field.name)[which] for field in fields(self)))

    def mean_of(self, column: np.ndarray) -> tuple[float, float]:
        """Mean and sd of one number a row."""
        mean = float(self.weight @ column)
        return mean, float(np.sqrt(self.weight @ (column - mean) ** 2))

    @property
    def moments(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean (9,) and covariance (9, 9) of the parameters."""
        share = self.weight / self.weight.sum()
        mean = share @ self.x
        off = self.x - mean
        return mean, np.einsum("r,rij->ij", share, self.covariance) + np.einsum("r,ri,rj->ij", share, off, off)


@dataclass(frozen=True)
class Weigher:
    """The minima (b,) with O-C and slopes (b, n, 10), slopes per scale, whose evidence is asked for at any s and tau.

    ln_prior (b,): what else speaks for each of them.
    """

    rows: np.ndarray
    away: np.ndarray
    ln_prior: np.ndarray
    noise: Noise
    priors: Priors
    stated: bool

    @classmethod
    def of(
        cls,
        found: Minima,
        noise: Noise,
        priors: Priors,
        stated: bool,
        later_s: np.ndarray | float = 0.0,
        ln_prior: np.ndarray | float = 0.0,
    ) -> Weigher:
        """later_s (b, n): is added to the O-C of each minimum."""
        late, slopes = found.counted.late_and_slopes(found.x)
        rows = np.concatenate([(late + later_s)[..., None], slopes * priors.scale], axis=-1)
        return cls(rows, priors.away(found.x), np.broadcast_to(ln_prior, len(found.x)), noise, priors, stated)

    def solved(self, scale: float, tau_s: float, number: int | None = None) -> tuple[np.ndarray, Normal]:
        """ln w (b,) without the priors of s and tau, and the normal equations; number: of the first ones alone."""
        weighing = self.noise.at(scale, tau_s)
        normal = Normal.of(weighing.gram(self.rows[:number]), self.away[:number], self.priors.scaled)
        least = normal.cost + np.sum(normal.gradient * normal.step, axis=-1)
        _, ln_det = np.linalg.slogdet(normal.matrix)
        return self.ln_prior[:number] - 0.5 * (least + weighing.ln_det + ln_det), normal

    def weighed(self, x: np.ndarray) -> Weighed:
        """All minima, at parameters x (b, 9), over the grid."""
        nodes = self.nodes()
        rows = []
        for ln_s, tau, ln_share in nodes:
            ln_w, normal = self.solved(np.exp(ln_s), tau)
            size = self.priors.scale
            covariance = np.linalg.inv(normal.matrix) * np.outer(size, size)
            for m in np.flatnonzero(ln_w > ln_w.max() - 3.0 * _BELOW):
                rows.append((ln_w[m] + ln_share, m, np.exp(ln_s), tau, x[m] + normal.step[m] * size, covariance[m]))
        ln, *columns = (np.array(column) for column in zip(*rows, strict=True))
        weight = np.exp(ln - ln.max())
        kept = weight > np.exp(-_BELOW) * 1e-2
        return Weighed(weight[kept] / weight[kept].sum(), *(column[kept] for column in columns))

    def peak(self) -> tuple[float, float]:
        """Scale and tau_s, on a coarse grid, of the highest evidence of the first minimum, which is the best."""
        ln_s, ratio = self._peak(*_common(self.noise))
        return float(np.exp(ln_s)), self._tau_s(ln_s, ratio)

    def nodes(self) -> list[tuple[float, float, float]]:
        """(ln s, tau, ln of the share of the prior) where the first minimum has evidence: a patch about the highest."""
        ln_s, ratio = self._peak(*_common(self.noise))
        ratios, ln_ratios = _common(self.noise, ratio)
        places = _places(ln_s, self.rows.shape[1], self.stated)
        share = (_ln_scale(places, self.stated) + np.log(np.gradient(places)))[:, None] + ln_ratios
        begin = int(np.argmin(np.abs(places - ln_s))), int(np.flatnonzero(ratios == ratio)[0])
        height = _patch(lambda i, j: self._best(places[i], ratios[j]) + share[i, j], begin, share.shape)
        return [(places[i], self._tau_s(places[i], ratios[j]), share[i, j]) for i, j in height]

    def _tau_s(self, ln_s: float, ratio: float) -> float:
        return float(ratio * np.exp(ln_s) * typical_tau_s(self.noise))

    def _best(self, ln_s: float, ratio: float) -> float:
        return float(self.solved(np.exp(ln_s), self._tau_s(ln_s, ratio), 1)[0][0])

    def _peak(self, ratios: np.ndarray, ln_ratios: np.ndarray) -> tuple[float, float]:
        """ln s, to 0.1, and tau/sigma."""
        low = np.log(LEAST_SCALE) if self.stated else -_GREATEST_LN
        known = dict(zip(ratios, ln_ratios, strict=True))

        def height(at: tuple[float, float]) -> float:
            return self._best(*at) + known[at[1]] + float(_ln_scale(np.array(at[0]), self.stated))

        trials = [(a, r) for a in np.arange(low, _GREATEST_LN + 0.1, _COARSE) for r in ratios[::3]]
        ln_s, ratio = max(trials, key=height)
        ln_s, ratio = max([(ln_s + 0.2 * k, ratio) for k in range(-2, 3)], key=height)
        ln_s, ratio = max([(ln_s, r) for r in ratios], key=height)
        return max([(ln_s + 0.1 * k, ratio) for k in range(-3, 4)], key=height)


def _patch(
    height: Callable[[int, int], float], begin: tuple[int, int], shape: tuple[int, ...]
) -> list[tuple[int, int]]:
    """Nodes of a grid that hang together with the one where it begins and are not _BELOW the highest."""
    known: dict[tuple[int, int], float] = {}
    waiting = [begin]
    while waiting:
        i, j = waiting.pop()
        if (i, j) in known or not (0 <= i < shape[0] and 0 <= j < shape[1]):
            continue
        known[i, j] = height(i, j)
        if known[i, j] > max(known.values()) - _BELOW:
            waiting += [(i + 1, j), (i - 1, j), (i, j + 1), (i, j - 1)]
    top = max(known.values())
    return [node for node, value in known.items() if value > top - _BELOW]


def typical_tau_s(noise: Noise) -> float:
    """The median of the prior of the common error: the median error of the times in groups; 0 without groups."""
    shared = noise.members.any(axis=0)
    return float(np.median(noise.sigma_s[shared])) if shared.any() else 0.0


def _common(noise: Noise, peak: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """tau/sigma, and ln of the prior of each; 0 alone where nothing is common.  A night of one event may err too: such
    nights tell sigma^2 + tau^2 alone.  Closer about a peak, since many nights tell tau better than the steps of RATIOS.
    """
    if not noise.members.any():
        return np.zeros(1), np.zeros(1)
    shared = max(int(np.sum(noise.members.sum(axis=1) > 1)), 1)
    close = peak * np.exp(np.linspace(-3.0, 3.0, 9) / np.sqrt(2.0 * shared)) if peak > 0.0 else RATIOS
    ratios = np.unique(np.concatenate([RATIOS, close]))
    edges = np.concatenate([[0.0], np.sqrt(ratios[1:] * ratios[:-1]), [np.inf]])
    share = 2.0 / np.pi * np.diff(np.arctan(edges))
    return np.append(0.0, ratios), np.log(np.append(NO_COMMON_ERROR, (1.0 - NO_COMMON_ERROR) * share))


def _places(peak: float, events: int, stated: bool) -> np.ndarray:
    """ln s where the evidence is taken: close about its peak, and about 0 where sigmas are stated."""
    low = np.log(LEAST_SCALE) if stated else -_GREATEST_LN
    width = 1.0 / np.sqrt(2.0 * events)
    places = [np.arange(low, _GREATEST_LN + 0.01, _COARSE), peak + width * np.linspace(-4.0, 4.0, 11)]
    if stated and abs(peak) < 6.0 * width + 4.0 * STATED_SD:
        places.append(STATED_SD * np.linspace(-3.0, 3.0, 11))
    every = np.unique(np.concatenate(places).round(3))
    return every[(every >= low - 1e-3) & (every <= _GREATEST_LN)]


def _ln_scale(ln_s: np.ndarray, stated: bool) -> np.ndarray:
    """ln of the prior's density of ln s."""
    wide = np.exp(-0.5 * ln_s**2)
    if not stated:
        return np.log(wide)
    return np.log(AS_STATED / STATED_SD * np.exp(-0.5 * (ln_s / STATED_SD) ** 2) + (1.0 - AS_STATED) * wide)
