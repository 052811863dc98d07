"""What is uncertain in a scenario: the table [sampling], read and checked here, drawn from by the ensembles."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from numbers import Integral

from pydantic import model_validator

from ...errors import ArgumentError
from ...kinds import as_shown, sure
from ..fields import Number, Table, Whole, key, refusal
from ..plain import Fixed


def check_seed(seed: int | None) -> None:
    """InputError for what no generator of random numbers takes; None stands for a default."""
    if seed is not None and not (isinstance(seed, Integral) and 0 <= seed < 2**63):
        raise ArgumentError("seed", f"{as_shown(seed)} is given, allowed is 0 .. 2^63 - 1; change it")


class Distribution(Table):
    """One uncertain number: exactly one of the three."""

    normal: tuple[Number, Number] | None = key(None, "", "[mean, sigma] in the unit of the key; sigma > 0", -1e21, 1e21)
    uniform: tuple[Number, Number] | None = key(None, "", "[low, high] in the unit of the key; low < high", -1e21, 1e21)
    lognormal: tuple[Number, Number] | None = key(
        None, "", "[median, sigma of the natural logarithm]; both > 0", 0.0, 1e21, open_low=True
    )

    @model_validator(mode="after")
    def _one_of_three(self) -> Distribution:
        given = [name for name in ("normal", "uniform", "lognormal") if getattr(self, name) is not None]
        if len(given) != 1:
            count = " and ".join(given) + " are given" if given else "nothing is given"
            raise refusal("", f"{count}, exactly one of normal, uniform and lognormal is allowed; keep one")
        if self.normal and self.normal[1] <= 0.0:
            raise refusal("normal", f"sigma {self.normal[1]:g} is given, allowed is sigma > 0; write [mean, sigma]")
        if self.uniform and self.uniform[0] >= self.uniform[1]:
            low, high = self.uniform
            raise refusal("uniform", f"[{low:g}, {high:g}] is given, allowed is low < high; write [low, high]")
        return self

    @property
    def centre_and_limits(self) -> tuple[float, ...]:
        """The numbers that must themselves be allowed values of the key."""
        return self.uniform or (sure(self.normal or self.lognormal)[0],)

    def at_scores(self, z):
        """Values (n,) at standard normal scores z (n,)."""
        import numpy as np
        from scipy.special import ndtr

        one, other = self.normal or self.uniform or self.lognormal
        if self.normal:
            return one + other * z
        return one + (other - one) * ndtr(z) if self.uniform else one * np.exp(other * z)


class Sampling(Table):
    """Distributions of scenario keys, for ensembles."""

    seed: Whole = key(0, "", "member k draws from (seed, k) alone; 0 so that two people get the same", 0, 2**63 - 1)
    count: Whole = key(1000, "", "members; 1000 gives 3 % of sigma on a mean", 1, 10_000_000)
    quantities: dict[str, Distribution] = {}
    correlations: tuple[tuple[str, str, Number], ...] = key(
        (), "", "coefficients between pairs of quantities, -1 < rho < 1; none, since few are published"
    )

    @classmethod
    def from_rows(
        cls, quantities: Iterable[tuple[str, str, Sequence[float]]], matrix: Sequence[Sequence[float]]
    ) -> Sampling:
        """From (name, shape, numbers) of each, and correlations row by row or none.  ValueError for what is wrong."""
        found = {name: {shape: list(numbers)} for name, shape, numbers in quantities}
        below = ((i, j, rho) for i, row in enumerate(matrix) for j, rho in enumerate(row[:i]))
        names = list(found)
        pairs = [[names[i], names[j], rho] for i, j, rho in below if rho != 0.0]
        return cls.model_validate({"quantities": found, "correlations": pairs})

    @model_validator(mode="after")
    def _correlated(self) -> Sampling:
        self.__dict__["quantities"] = Fixed(self.quantities)  # frozen for everybody else
        seen = set()
        for one, other, rho in self.correlations:
            _check_pair(self, one, other, rho)
            if frozenset((one, other)) in seen:
                raise refusal("correlations", f"{one} with {other} is given twice, once is allowed; remove one of them")
            seen.add(frozenset((one, other)))
        if self.correlations:
            _check_positive_definite(self)
        return self

    @property
    def correlation_matrix(self) -> list[list[float]]:
        """Rows in the order of `quantities`; ones on the diagonal."""
        names = list(self.quantities)
        matrix = [[float(i == j) for j in range(len(names))] for i in range(len(names))]
        for one, other, rho in self.correlations:
            i, j = names.index(one), names.index(other)
            matrix[i][j] = matrix[j][i] = rho
        return matrix


def _check_pair(sampling: Sampling, one: str, other: str, rho: float) -> None:
    for name in (one, other):
        if name not in sampling.quantities:
            raise refusal(
                "correlations", f"{name!r} is given, allowed are the keys in quantities; give it a distribution there"
            )
    if one == other:
        raise refusal("correlations", f"{one!r} is correlated with itself, allowed are two different keys; change one")
    if not abs(rho) < 1.0:
        raise refusal("correlations", f"{rho:g} between {one} and {other} is given, allowed is -1 < rho < 1; change it")


def _check_positive_definite(sampling: Sampling) -> None:
    import numpy as np

    smallest = float(np.linalg.eigvalsh(np.array(sampling.correlation_matrix))[0])
    if not smallest > 1e-10:
        raise refusal(
            "correlations",
            f"together they cannot hold (smallest eigenvalue {smallest:.2g}), allowed is a positive definite matrix; "
            "weaken one",
        )
