"""Values of uncertain inputs, drawn from the distributions of [sampling], for numbers that need no simulation."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .scenario import Scenario
from .tables.sampling import Sampling
from .variation import key_of


def drawn(
    sampling: Sampling, starts: Sequence[str], count: int, random: np.random.Generator, limited: bool = True
) -> dict[str, np.ndarray]:
    """(count,) values of each quantity whose dotted name starts with one of `starts`, correlated as stated.

    Correlation coefficients are those of the normal deviates behind the distributions (exact between normal ones).
    limited: what falls outside a key's range is moved to its limit; otherwise it is for the caller to leave out.
    """
    names = list(sampling.quantities)
    chosen = [i for i, name in enumerate(names) if name.startswith(tuple(starts))]
    if not chosen:
        return {}
    matrix = np.array(sampling.correlation_matrix)[np.ix_(chosen, chosen)]
    deviates = random.standard_normal((count, len(chosen))) @ np.linalg.cholesky(matrix).T
    columns = zip((names[i] for i in chosen), deviates.T, strict=True)
    if limited:
        return {name: at_scores(sampling, name, z) for name, z in columns}
    return {name: sampling.quantities[name].at_scores(z) for name, z in columns}


def at_scores(sampling: Sampling, name: str, z: np.ndarray) -> np.ndarray:
    """Values of a quantity at normal scores z (n,), within the range of its key."""
    values, facts = sampling.quantities[name].at_scores(z), key_of(name, Scenario.known_keys()).facts
    low = facts["low"]
    if low is None:
        return values
    return np.clip(values, np.nextafter(low, np.inf) if facts["open_low"] else low, facts["high"])
