"""Many pairs that are alike but for some numbers: one scenario, and an array of each number that is varied."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np

from .tables.bodies import RATIOS, axes_of_ratios
from .variation import value_below


@dataclass(frozen=True)
class Varied:
    """n pairs: a Scenario (or some tables of one), and columns (n,) that stand for its numbers of these dotted names.

    One system is n = 1 without columns.
    """

    scenario: Any
    columns: Mapping[str, np.ndarray]
    count: int

    def stated(self, name: str) -> Any:
        """What the scenario has at a dotted key; None where it does not give it."""
        table, *rest = name.split(".")
        value = getattr(self.scenario, table)
        return None if value is None else value_below(value, rest)

    def has(self, name: str) -> bool:
        """Whether there is a number of that name."""
        return name in self.columns or self.stated(name) is not None

    def __getitem__(self, name: str) -> np.ndarray:
        """(n,) of a dotted key; nan where the scenario does not give it."""
        if name in self.columns:
            return self.columns[name]
        value = self.stated(name)
        return np.full(self.count, np.nan if value is None else float(value))

    def vector(self, name: str, *parts: str | int) -> np.ndarray:
        """(k, n) of several keys below one name."""
        return np.array([self[f"{name}.{part}"] for part in parts])

    def some(self, at: np.ndarray) -> Self:
        """Of the pairs at these places."""
        return replace(self, columns={name: values[at] for name, values in self.columns.items()}, count=len(at))

    def semi_axes_m(self, body: str) -> np.ndarray:
        """(3, n) of an ellipsoid, also where it is given by ratios and volume."""
        if self.stated(f"{body}.{RATIOS[0]}") is None or f"{body}.semi_axes_m.0" in self.columns:
            return self.vector(f"{body}.semi_axes_m", 0, 1, 2)
        return np.array(axes_of_ratios(*(self[f"{body}.{name}"] for name in RATIOS)))
