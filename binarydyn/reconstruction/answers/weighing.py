"""Numbers of weighted draws: quantiles and intervals, and which combinations of unknowns they leave open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...observables.averages import INTERVALS

_SHOWN, _LEAST = 4, 0.25
"""Components of a combination that are told, and the least of them."""


def weighted_quantiles(values: np.ndarray, weight: np.ndarray, shares) -> np.ndarray:
    """(k,) of values (n,) with weights (n,), linear between the middles of their steps; nan values have no weight."""
    known = np.isfinite(values) & (weight > 0.0)
    order = np.argsort(values[known])
    value, w = values[known][order], weight[known][order]
    middle = (np.cumsum(w) - 0.5 * w) / w.sum()
    return np.interp(shares, middle, value)


def weighted_spread(values: np.ndarray, weight: np.ndarray) -> dict[str, float] | None:
    """Mean, standard deviation, median, 68 and 95 %; None where less than half of the weight has a value."""
    known = np.isfinite(values)
    if weight[known].sum() < 0.5:
        return None
    quantiles = weighted_quantiles(values, weight, list(INTERVALS.values()))
    own = dict(zip(("mean", "sigma"), _mean_and_sigma(values, weight), strict=True))
    return own | dict(zip(INTERVALS, map(float, quantiles), strict=True))


def against_truth(truth: float, values: np.ndarray, weight: np.ndarray) -> tuple[float, float, float]:
    """Share of the weight (n,) of values (n,) below a truth, their mean less it, their standard deviation."""
    known = np.isfinite(values)
    mean, sigma = _mean_and_sigma(values, weight)
    return float(weight[known] @ (values[known] < truth) / weight[known].sum()), mean - truth, sigma


def _mean_and_sigma(values: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    """Nan values have no weight."""
    known = np.isfinite(values)
    w = np.where(known, weight, 0.0) / weight[known].sum()
    filled = np.where(known, values, 0.0)
    mean = float(w @ filled)
    return mean, float(np.sqrt(w @ (filled - mean) ** 2))


def gaussian_spread(value: float, sigma: float) -> dict[str, float]:
    """The same of one Gaussian."""
    from scipy.special import ndtri

    return {"mean": value, "sigma": sigma} | {k: value + sigma * float(ndtri(q)) for k, q in INTERVALS.items()}


@dataclass(frozen=True)
class Combination:
    """One direction of unknowns in units of their priors' sigmas: sd of the posterior along it, 1 where the data say
    nothing, and its components by name, the larger ones."""

    sd: float
    components: dict[str, float]


def correlations_with(name: str, columns: Mapping[str, np.ndarray], weight: np.ndarray) -> dict[str, float]:
    """Of one column (n,) with each of the others, the strongest first."""
    off = {other: values - weight @ values for other, values in columns.items()}
    size = {other: float(np.sqrt(weight @ values**2)) for other, values in off.items()}
    found = {
        other: float(weight @ (off[name] * values)) / (size[name] * size[other])
        for other, values in off.items()
        if other != name and size[other] * size[name] > 0.0
    }
    return dict(sorted(found.items(), key=lambda item: -abs(item[1])))


def combinations_of(u: np.ndarray, weight: np.ndarray, names: tuple[str, ...]) -> tuple[Combination, ...]:
    """Eigenvectors of the covariance of u (n, p), in units of the priors' sigmas, the least known first."""
    off = u - weight @ u
    variance, vectors = np.linalg.eigh((off * weight[:, None]).T @ off)
    return tuple(_combination(variance[k], vectors[:, k], names) for k in np.argsort(-variance))


def _combination(variance: float, vector: np.ndarray, names: tuple[str, ...]) -> Combination:
    vector = vector * np.sign(vector[np.argmax(np.abs(vector))])
    large = np.argsort(-np.abs(vector))[:_SHOWN]
    kept = {names[k]: float(vector[k]) for k in large if abs(vector[k]) > _LEAST}
    return Combination(float(np.sqrt(max(variance, 0.0))), kept)
