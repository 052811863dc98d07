"""What the data say of their own errors: the scale of the sigmas, the common error of a night, outliers.

Scale and common error go over the grid of timing/evidence.py, the unknowns integrated out linearly about a solution.
With outliers, errors are of Student's t, and the Gaussian problem of timing/outliers.py stands for them: the times
become such that its solution and covariance are those of the reweighed fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..timing.evidence import Weigher
from ..timing.noise import FLOOR_S
from ..timing.outliers import FAR, NU, influence, spread_factor
from ..timing.terms import Priors
from .likelihood import Likelihood, quadratic
from .newton import Solved

_LEAST = 1e-3
"""Share of a node of the grid below which it is left out."""
_ROUNDS, _SETTLED = 40, 1e-4
_LEAST_SIGMA2 = 1e-6


@dataclass(frozen=True)
class NoiseGrid:
    """Likelihoods of one model at k scales and common errors, with the priors' shares ln_prior (k,) and what the data
    make of these, weight (k,)."""

    nodes: tuple[Likelihood, ...]
    ln_prior: np.ndarray
    weight: np.ndarray

    @classmethod
    def of(cls, likelihood: Likelihood, reference: Solved, stated: bool) -> NoiseGrid:
        """About a solution, whose late and slopes are taken; stated: whether sigmas are."""
        weigher = _weigher(likelihood, reference, stated)
        places = weigher.nodes()
        ln = np.array([weigher.solved(np.exp(ln_s), tau)[0][0] + share for ln_s, tau, share in places])
        weight = np.exp(ln - ln.max())
        kept = np.flatnonzero(weight > _LEAST * weight.max())
        nodes = tuple(replace(likelihood, scale=float(np.exp(places[k][0])), tau_s=places[k][1]) for k in kept)
        return cls(nodes, np.array([places[k][2] for k in kept]), weight[kept] / weight[kept].sum())

    @property
    def best(self) -> Likelihood:
        """At the heaviest node."""
        return self.nodes[int(np.argmax(self.weight))]

    def few(self, count: int) -> NoiseGrid:
        """So many of the nodes at most, evenly by weight, each with the share of those that it stands for."""
        order = np.lexsort(([node.scale for node in self.nodes], [node.tau_s for node in self.nodes]))
        at = np.searchsorted(np.cumsum(self.weight[order]), (np.arange(count) + 0.5) / count)
        kept, times = np.unique(order[np.minimum(at, len(order) - 1)], return_counts=True)
        weight = times / count
        nodes = tuple(self.nodes[k] for k in kept)
        return NoiseGrid(nodes, self.ln_prior[kept] + np.log(weight / self.weight[kept]), weight)

    def ln_likelihood(self, late: np.ndarray) -> np.ndarray:
        """(n,) of rows of what is late (n, m), scale and common error integrated out; -inf of rows with nan."""
        parts = self._parts(self.chi2(late))
        top = np.where(np.isfinite(parts.max(axis=0)), parts.max(axis=0), 0.0)
        with np.errstate(divide="ignore"):
            return top + np.log(np.sum(np.exp(parts - top), axis=0))

    def chi2(self, late: np.ndarray) -> np.ndarray:
        """(k, n) r^T C^-1 r of rows (n, m) at each node; inf of rows with nan."""
        return np.array([quadratic(node.weighing, late) for node in self.nodes])

    def shares(self, chi2: np.ndarray) -> np.ndarray:
        """(k, n) of the nodes in each of n draws, from their chi2 (k, n), which must be finite."""
        parts = self._parts(chi2)
        share = np.exp(parts - parts.max(axis=0))
        return share / share.sum(axis=0)

    def _parts(self, chi2: np.ndarray) -> np.ndarray:
        ln_det = np.array([node.weighing.ln_det for node in self.nodes])
        return (self.ln_prior - 0.5 * ln_det)[:, None] - 0.5 * chi2

    def moments(self, name: str) -> tuple[float, float]:
        """Mean and sd of `scale` or `tau_s`."""
        values = np.array([getattr(node, name) for node in self.nodes])
        mean = float(self.weight @ values)
        return mean, float(np.sqrt(self.weight @ (values - mean) ** 2))


def _weigher(likelihood: Likelihood, reference: Solved, stated: bool) -> Weigher:
    rows = np.column_stack([reference.late, reference.slopes])[None]
    one = np.ones(len(reference.u))
    priors = Priors(np.zeros_like(one), likelihood.information, one, np.zeros((0, len(one))))
    return Weigher(rows, reference.u[None], np.zeros(1), likelihood.noise, priors, stated)


def at_peak(likelihood: Likelihood, reference: Solved, stated: bool) -> Likelihood:
    """At the scale and common error of the highest evidence about a solution."""
    scale, tau_s = _weigher(likelihood, reference, stated).peak()
    return replace(likelihood, scale=scale, tau_s=tau_s)


def without_outliers(likelihood: Likelihood, reference: Solved) -> tuple[Likelihood, int]:
    """The Gaussian problem that stands for errors of Student's t, and how many times lie far off.

    About a solution, linearly, as timing/outliers.py has it: reweighing, then times that become z* = psi/mean(psi').
    """
    noise, tau_s, slopes = likelihood.noise, likelihood.tau_s, reference.slopes
    scale, weight, move = 1.0, np.ones(len(reference.late)), np.zeros(len(reference.u))
    for k in range(_ROUNDS):
        own, weighing = noise.own_variance(scale), noise.at(scale, tau_s, weight)
        told = weighing.applied(slopes)
        matrix = slopes.T @ told + np.diag(likelihood.information)
        pull = told.T @ reference.late + likelihood.information * reference.u
        move = -np.linalg.solve(matrix, pull)
        z = np.sqrt(own) / weight * weighing.applied((reference.late + slopes @ move)[:, None])[:, 0]
        spread = 1.4826 * np.median(np.abs(z)) if k == 0 else np.sqrt(np.mean(weight * z**2))
        scale = float(np.clip(scale * spread, 1e-2, 1e2))
        z = z * np.sqrt(own / noise.own_variance(scale))
        before, weight = weight, (NU + 1.0) / (NU + z**2)
        if np.abs(weight - before).max() < _SETTLED:
            break
    own = noise.own_variance(scale)
    psi, slope = influence(z)
    factor = spread_factor(z, float(np.sum(_informed(likelihood, slopes))))
    sigma = np.sqrt(np.maximum(factor**2 * own - FLOOR_S**2, _LEAST_SIGMA2))
    later = np.sqrt(own) * (psi / np.mean(slope) - z)
    calm = replace(likelihood, noise=replace(noise, sigma_s=sigma), scale=1.0, later=likelihood.later + later)
    return calm, int(np.sum(np.abs(z) > FAR))


def _informed(likelihood: Likelihood, slopes: np.ndarray) -> np.ndarray:
    """(p,) by how much the data, not the prior, decide each direction: 0 to 1."""
    of_data = likelihood.weighing.gram(slopes)
    return np.diag(np.linalg.solve(of_data + np.diag(likelihood.information), of_data))
