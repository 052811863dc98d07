"""Published numbers: values, sigmas and their correlations; and numbers not yet measured, with the sigma they would
have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..errors import InputError

_SYMMETRIC = 1e-9
"""Of the larger, by which both halves of a covariance may differ: tables are rounded, but alike."""


@dataclass(frozen=True)
class Published:
    """m numbers by name with values (m,) and covariance (m, m), of the squares of their units; planned: sigmas by name
    of numbers that could be measured too.  place: where they stand, for sentences.

    InputError for none at all, numbers that are not finite, and what is no covariance.
    """

    names: tuple[str, ...]
    values: np.ndarray
    covariance: np.ndarray
    planned: Mapping[str, float] = field(default_factory=dict)
    place: str = "published"

    def __post_init__(self):
        if not self.names:
            raise InputError(self.place, "no number with a value is given, at least one is needed; add a measured one")
        twice = sorted({name for name in self.names if (*self.names, *self.planned).count(name) > 1})
        if twice:
            raise InputError(f"{self.place}: {twice[0]}", "it is given twice, once is allowed; remove one")
        if not (np.isfinite(self.values).all() and np.isfinite(self.covariance).all()):
            raise InputError(self.place, "a value or a covariance is not a finite number; correct it")
        self._check_covariance()

    @classmethod
    def of(
        cls, numbers: Mapping[str, tuple[float, float]], correlation: np.ndarray | None = None,
        planned: Mapping[str, float] | None = None, place: str = "published",
    ) -> Published:  # fmt: skip
        """From values and sigmas by name, and correlations (m, m); None: independent."""
        values, sigma = (np.array([pair[k] for pair in numbers.values()], dtype=float) for k in range(2))
        for name, one in [*zip(numbers, sigma.tolist(), strict=True), *(planned or {}).items()]:
            if not (np.isfinite(one) and one > 0.0):
                raise InputError(f"{place}: {name}", f"the sigma {one:g} is given, allowed is above 0; correct it")
        matrix = np.eye(len(sigma)) if correlation is None else correlation
        if np.any(np.diag(matrix) != 1.0):
            raise InputError(place, "a correlation of a number with itself other than 1 is given; correct it")
        return cls(tuple(numbers), values, matrix * np.outer(sigma, sigma), planned or {}, place)

    def _check_covariance(self) -> None:
        """InputError where it is none."""
        sigma = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        if not np.all(sigma > 0.0):
            name = self.names[int(np.argmin(sigma))]
            raise InputError(f"{self.place}: {name}", "its variance is not above 0; correct the covariance")
        scaled = self.covariance / np.outer(sigma, sigma)
        if np.abs(scaled - scaled.T).max() > _SYMMETRIC:
            i, j = np.unravel_index(np.argmax(np.abs(scaled - scaled.T)), scaled.shape)
            pair = f"{self.names[i]} and {self.names[j]}"
            raise InputError(self.place, f"two covariances of {pair} are given that differ, they are to be the same")
        least = float(np.linalg.eigvalsh(scaled)[0])
        if least <= len(sigma) * np.finfo(float).eps:
            raise InputError(
                self.place, f"the covariance is not positive definite (least eigenvalue {least:.2g} of the "
                "correlations), so some combination would be known without error; correct the correlations",
            )  # fmt: skip

    @property
    def sigma(self) -> np.ndarray:
        """(m,)."""
        return np.sqrt(np.diag(self.covariance))

    @cached_property
    def _factor(self) -> np.ndarray:
        """(m, m) lower triangle whose product with its transpose is the covariance, scaled by the sigmas for digits."""
        return np.linalg.inv(np.linalg.cholesky(self.covariance / np.outer(self.sigma, self.sigma))) / self.sigma

    def whitened(self, values: np.ndarray) -> np.ndarray:
        """(.., m) numbers as combinations that err independently by 1 each: nan in any makes all of a row nan."""
        return values @ self._factor.T + 0.0 * np.sum(values, axis=-1, keepdims=True)
