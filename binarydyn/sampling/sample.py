"""Members drawn from the distributions of a scenario: at random, by a scrambled Sobol sequence, or in a Latin
hypercube.

Member k depends on the seed and k alone (a Latin hypercube on the count too), so that a sample can be extended and
any part of it done anywhere.  Correlated quantities are drawn by a Gaussian copula: normal scores with the stated
correlations, each carried to its own distribution.  Random: one counter-based stream a member (Salmon et al. 2011,
Proc. SC11, 16); Sobol: Owen's scrambling (Owen 1998, J. Complexity 14, 466), best in counts that are powers of 2;
both through numpy and scipy.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..errors import ArgumentError
from ..kinds import WHOLE, takes
from ..scenario import Scenario
from ..scenario.tables.sampling import Distribution, Sampling, check_seed
from ..scenario.wording import as_given
from .design import LARGEST

KINDS = ("random", "sobol", "latin")
MOST_DIMENSIONS = 500
_BLOCK = 4096
"""Members drawn together; a draw is cheap, starting a sequence is not."""
_KEPT = 4
"""Blocks of a sequence that are remembered."""


@dataclass(frozen=True)
class Sample:
    """`count` members of a kind; quantities ((key, shape, (two numbers)), ..) and their correlations, row by row."""

    kind: str
    quantities: tuple[tuple[str, str, tuple[float, float]], ...]
    correlations: tuple[tuple[float, ...], ...]
    count: int
    seed: int

    def __post_init__(self):
        if self.kind not in KINDS:
            raise ArgumentError(
                "sample", f"{as_given(self.kind)} is given, allowed is {' or '.join(KINDS)}; choose one"
            )
        if not self.quantities:
            raise ArgumentError(
                "sample", "the scenario has no [sampling.quantities], at least one distribution is needed; add one"
            )
        if not 1 <= self.count <= LARGEST:
            raise ArgumentError("count", f"{self.count} is given, allowed is 1 .. {LARGEST}; change it")
        check_seed(self.seed)
        if len(self.quantities) > MOST_DIMENSIONS:
            number = len(self.quantities)
            raise ArgumentError("sample", f"{number} quantities are given, allowed are {MOST_DIMENSIONS}; fix some")

    @classmethod
    @takes(scenario="Scenario", kind=str, count=(None, WHOLE), seed=(None, WHOLE))
    def of(cls, scenario: Scenario, kind: str, count: int | None = None, seed: int | None = None) -> Sample:
        """From the [sampling] of a scenario; count and seed in place of its own.  Raises InputError."""
        sampling = scenario.sampling
        listed = sampling.quantities.items() if sampling else ()
        quantities = tuple((name, *_shape(distribution)) for name, distribution in listed)
        matrix = tuple(map(tuple, sampling.correlation_matrix)) if sampling else ()
        own_count, own_seed = (sampling.count, sampling.seed) if sampling else (1, 0)
        return cls(kind, quantities, matrix, own_count if count is None else count, own_seed if seed is None else seed)

    @classmethod
    def from_json(cls, text: str) -> Sample:
        """The sample that `json` wrote.  ValueError, TypeError, KeyError or InputError for any other text."""
        held = json.loads(text)
        quantities = tuple((name, shape, tuple(numbers)) for name, shape, numbers in held["quantities"])
        correlations = tuple(map(tuple, held["correlations"]))
        sampling = Sampling.from_rows(quantities, correlations)
        found = cls(held["sample"], quantities, correlations, held["count"], held["seed"])
        if found.json != text or (correlations and sampling.correlation_matrix != list(map(list, correlations))):
            raise ValueError("no sample is written so")
        return found

    @property
    def json(self) -> str:
        """As text that gives back the same numbers, bit for bit."""
        named = {"sample": self.kind, "count": self.count, "seed": self.seed}
        return json.dumps(named | {"quantities": self.quantities, "correlations": self.correlations})

    @property
    def sha256(self) -> str:
        """Of all that decides a member, in hexadecimal: a Latin hypercube's count too, that of other kinds does not."""
        text = self.json if self.kind == "latin" else replace(self, count=1).json
        return hashlib.sha256(text.encode()).hexdigest()

    @property
    def keys(self) -> tuple[str, ...]:
        """The dotted names that vary."""
        return tuple(name for name, _, _ in self.quantities)

    def __len__(self) -> int:
        return self.count

    def member(self, k: int) -> dict[str, float]:
        """What member k, 0 <= k < len, changes in the scenario."""
        return dict(zip(self.keys, self.draws(k, k + 1)[0].tolist(), strict=True))

    def draws(self, first: int, end: int) -> np.ndarray:
        """(end - first, quantities): the values of members first .. end - 1."""
        scores = self._scores(first, end)
        if self.correlations and len(self.quantities) > 1:
            scores = _mixed(scores, self._mixing)
        columns = np.ascontiguousarray(scores.T)
        return np.array([shape.at_scores(z) for shape, z in zip(self._shapes, columns, strict=True)]).T

    def inputs(self, members: np.ndarray) -> dict[str, np.ndarray]:
        """What members (n,), ascending, change: arrays (n,) by key."""
        drawn = np.empty((len(members), len(self.keys)))
        for first in range(0, self.count, _BLOCK):
            low, high = np.searchsorted(members, (first, first + _BLOCK))
            if low < high:
                start = int(members[low])
                drawn[low:high] = self.draws(start, int(members[high - 1]) + 1)[members[low:high] - start]
        return dict(zip(self.keys, drawn.T, strict=True))

    def together(self, keys: Sequence[str]) -> Iterator[Iterable[int]]:
        """All members, those that agree in the values of some keys as one range each: no two do in what is drawn."""
        if not keys:
            yield range(self.count)
        else:
            yield from ((k,) for k in range(self.count))

    def scores(self, first: int, end: int) -> np.ndarray:
        """(end - first, quantities): the independent standard normal scores from which `draws` come."""
        return self._scores(first, end)

    def check(self, scenario: Scenario) -> None:
        """Nothing: the scenario has checked its distributions when it was read."""

    @cached_property
    def _shapes(self) -> list[Distribution]:
        return [Distribution(**{shape: numbers}) for _, shape, numbers in self.quantities]

    @cached_property
    def _mixing(self) -> np.ndarray:
        return np.linalg.cholesky(np.array(self.correlations))

    def _scores(self, first: int, end: int) -> np.ndarray:
        """Independent standard normal scores of some members."""
        size = len(self.quantities)
        if self.kind == "random":
            return _streams(self.seed, size, first, end)
        from scipy.special import ndtri

        if self.kind == "latin":
            return ndtri(self._hypercube[first:end])
        blocks = range(first // _BLOCK, (end - 1) // _BLOCK + 1)
        parts = [self._sobol(b)[max(first - b * _BLOCK, 0) : end - b * _BLOCK] for b in blocks]
        return np.concatenate(parts)

    def _sobol(self, block: int) -> np.ndarray:
        """Scores of one block of the sequence."""
        found = self._blocks.get(block)
        if found is None:
            from scipy.special import ndtri
            from scipy.stats import qmc

            sequence = qmc.Sobol(len(self.quantities), rng=self.seed)
            if block:
                sequence.fast_forward(block * _BLOCK)
            found = self._blocks[block] = ndtri(np.clip(sequence.random(_BLOCK), 1e-16, 1.0 - 1e-16))
            for old in list(self._blocks)[:-_KEPT]:
                self._blocks.pop(old, None)
        return found

    @cached_property
    def _blocks(self) -> dict[int, np.ndarray]:
        return {}

    @cached_property
    def _hypercube(self) -> np.ndarray:
        from scipy.stats import qmc

        points = qmc.LatinHypercube(len(self.quantities), rng=self.seed).random(self.count)
        return np.clip(points, 1e-16, 1.0 - 1e-16)


def _streams(seed: int, size: int, first: int, end: int) -> np.ndarray:
    """(end - first, size) normal scores, each row from a stream of its own: one generator, set to one after another."""
    bits = np.random.Philox(key=seed, counter=[0, 0, 0, 0])
    generator, state = np.random.Generator(bits), bits.state
    scores = np.empty((end - first, size))
    for k, row in enumerate(scores, first):
        state["state"]["counter"][3] = k
        bits.state = state
        generator.standard_normal(out=row)
    return scores


def _mixed(scores: np.ndarray, mixing: np.ndarray) -> np.ndarray:
    """scores times the transposed mixing, always in one order: a matrix product's bits depend on the number of rows."""
    mixed = np.zeros_like(scores)
    for j in range(scores.shape[1]):
        mixed += scores[:, j : j + 1] * mixing[:, j]
    return mixed


def _shape(distribution: Distribution) -> tuple[str, tuple[float, float]]:
    name = next(name for name in ("normal", "uniform", "lognormal") if getattr(distribution, name) is not None)
    return name, getattr(distribution, name)
