"""A smooth outcome of many runs as a quadratic polynomial of their inputs, with the error that it makes elsewhere.

Least squares on all monomials to degree 2 of the standardised inputs.  The error is that of leave-one-out
cross-validation, in closed form from the leverages: e_i / (1 - h_i) (Allen 1974, Technometrics 16, 125).
Valid inside the cloud of the inputs that it was fitted to, for outcomes that are smooth there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import ArgumentError

LEAST_RUNS, MOST_RUNS = 128, 65536
"""By default, and at all."""


@dataclass(frozen=True)
class Quadratic:
    """A fitted polynomial: outcome = terms((x - centre) / width) @ coefficients.

    left_out (n,): what each run misses the fit to all others by; error: their root mean square.
    """

    centre: np.ndarray
    width: np.ndarray
    coefficients: np.ndarray
    left_out: np.ndarray

    @property
    def error(self) -> float:
        """Of one value, in the unit of the outcome."""
        return float(np.sqrt(np.mean(self.left_out**2)))

    def __call__(self, x: np.ndarray) -> np.ndarray:
        """(m,) outcomes at inputs (m, d)."""
        return _terms((x - self.centre) / self.width) @ self.coefficients


def terms_of(inputs: int) -> int:
    """How many coefficients a polynomial of so many inputs has."""
    return (inputs + 1) * (inputs + 2) // 2


def runs_for(runs: int | None, inputs: int) -> int:
    """Simulations behind a fit: so many, or three a coefficient where None is given.  InputError for a wrong number."""
    terms = terms_of(inputs)
    if runs is None:
        return max(LEAST_RUNS, _power_of_two(3 * terms))
    least = _power_of_two(2 * terms)
    if not (least <= runs <= MOST_RUNS and runs.bit_count() == 1):
        allowed = f"a power of 2, {least} .. {MOST_RUNS} with these inputs"
        raise ArgumentError("runs", f"{runs} is given, allowed is {allowed}; change it")
    return runs


def _power_of_two(least: int) -> int:
    """The smallest that is not less."""
    return 1 << (least - 1).bit_length()


def quadratic_fit(x: np.ndarray, outcome: np.ndarray) -> Quadratic:
    """The polynomial through outcomes (n,) at inputs (n, d); ValueError for fewer than two runs a coefficient."""
    if len(x) < 2 * terms_of(x.shape[1]):
        raise ValueError(f"{len(x)} runs are too few for {terms_of(x.shape[1])} coefficients")
    centre, width = x.mean(axis=0), x.std(axis=0)
    width = np.where(width > 0.0, width, 1.0)
    terms = _terms((x - centre) / width)
    q, r = np.linalg.qr(terms)
    coefficients = np.linalg.solve(r, q.T @ outcome)
    leverage = np.clip(np.einsum("ij,ij->i", q, q), 0.0, 1.0 - 1e-9)
    return Quadratic(centre, width, coefficients, (outcome - terms @ coefficients) / (1.0 - leverage))


def _terms(z: np.ndarray) -> np.ndarray:
    """(n, terms): 1, each input, each product of two."""
    first, second = np.triu_indices(z.shape[1])
    return np.column_stack([np.ones(len(z)), z, z[:, first] * z[:, second]])
