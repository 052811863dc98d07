"""Inputs drawn from distributions of anybody's own, as a table with one member a row."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import KindError
from ..kinds import WHOLE, takes
from ..notebook import library
from ..scenario.tables.sampling import Sampling
from .sample import Sample

if TYPE_CHECKING:
    import pandas


@takes(n=WHOLE, quantities=Mapping, seed=WHOLE)
def draw(
    n: int, quantities: Mapping[str, Any], *, correlations: Iterable[tuple[str, str, float]] = (), seed: int
) -> pandas.DataFrame:
    """Draw members of a sweep from distributions.

    Parameters
    ----------
    n : members.
    quantities : by dotted keys, in the units of their names: a frozen distribution of scipy, or an array (m,) of values
        that are equally likely, such as draws of somebody's posterior.
    correlations : (key, key, rho) of pairs of quantities, -1 < rho < 1.  They are those of the normal scores that are
        carried to each distribution (Gaussian copula, as [sampling] has it).
    seed : of the draws.  Row k depends on it and on k alone, so that a larger n goes on from a smaller one.

    Returns
    -------
    A pandas table of n rows, index `member`, for `sweep`.

    Raises
    ------
    InputError for impossible correlations, KindError for what is no distribution.

    Examples
    --------
    >>> import binarydyn as bd
    >>> from scipy.stats import norm
    >>> rows = bd.draw(4, {"momentum_transfer.beta": norm(2.2, 0.3), "impactor.mass_kg": [470.0, 480.0]}, seed=1)
    >>> bd.sweep(bd.example(), rows, table="summary", workers=1)
    <Members 4: 4 completed; varies 2 keys; summary table>
    """
    pandas, inverses = library("pandas", "draw"), {key: _inverse(key, given) for key, given in quantities.items()}
    normal = {key: {"normal": [0.0, 1.0]} for key in inverses}
    matrix = Sampling.of({"quantities": normal, "correlations": [list(row) for row in correlations]}).correlation_matrix
    scores = Sample(
        "random", tuple((key, "normal", (0.0, 1.0)) for key in inverses), tuple(map(tuple, matrix)), n, seed
    )
    columns = {key: inverses[key](z) for key, z in zip(inverses, scores.draws(0, n).T, strict=True)}
    return pandas.DataFrame(columns, pandas.RangeIndex(n, name="member"))


def _inverse(key: str, given: Any) -> Callable[[np.ndarray], np.ndarray]:
    """Values (n,) at standard normal scores (n,): by the inverse of the cumulative distribution."""
    from scipy.special import ndtr

    if inverse := getattr(given, "ppf", None) or getattr(given, "icdf", None):
        return lambda z: np.asarray(inverse(ndtr(z)), dtype=float)
    try:
        values = np.sort(np.asarray(given, dtype=float))
    except (TypeError, ValueError):
        values = np.empty(0)
    if values.ndim != 1 or not len(values) or not np.isfinite(values).all():
        word = type(given).__name__
        raise KindError(
            f"draw {key}",
            f"a {word} is given, allowed is a frozen distribution, such as scipy.stats.norm(2.2, 0.3), or an array "
            "(m,) of finite numbers; give one",
        )
    return lambda z: np.quantile(values, ndtr(z), method="inverted_cdf")
