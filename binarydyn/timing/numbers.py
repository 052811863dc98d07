"""Numbers that follow from the parameters of a fit, with their sigmas, and as mixtures over weighed rows."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .evidence import Weighed
from .mixture import Mixture, mixed
from .terms import INDEX, TURN

Number = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]
"""From parameters (r, 9) and their covariances (r, 9, 9) a number of each (r,) and its sigma (r,)."""


def change_of(x: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Period after minus period before, s."""
    sides = [INDEX["rate_before"], INDEX["rate_after"]]
    period = TURN / x[:, sides]
    return period[:, 1] - period[:, 0], _sigma(v, sides, np.array([1.0, -1.0]) * TURN / x[:, sides] ** 2)


def turning_of(x: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rate of the line of apsides, rad/s."""
    i = INDEX["apsidal_rate"]
    return x[:, i], np.sqrt(v[:, i, i])


def eccentricity_of(x: np.ndarray, v: np.ndarray, side: str) -> tuple[np.ndarray, np.ndarray]:
    """Before or after t0."""
    where = [INDEX[f"h_{side}"], INDEX[f"k_{side}"]]
    e = np.hypot(*x[:, where].T)
    slopes = np.where(e[:, None] > 0.0, x[:, where] / np.maximum(e, 1e-300)[:, None], [1.0, 0.0])
    return e, _sigma(v, where, slopes)


def _sigma(v: np.ndarray, where: list[int], slopes: np.ndarray) -> np.ndarray:
    return np.sqrt(np.einsum("ri,rij,rj->r", slopes, v[:, where][:, :, where], slopes))


def mixture_of(rows: Weighed, number: Number) -> Mixture:
    """Of a number; parts of one minimum thinned."""
    whole = Mixture(rows.weight / rows.weight.sum(), *number(rows.x, rows.covariance))
    return mixed([whole.chosen(rows.minimum == m).thinned() for m in np.unique(rows.minimum)])
