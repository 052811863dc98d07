"""Many rows at once, as columns: what members computed by the hundred give in place of a row each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

TABLES = ("full", "summary")
"""Which numbers a row has: all that `Prediction.numbers` gives, or the outcomes alone."""


@dataclass(frozen=True)
class Block:
    """n rows as columns; arrays (n,).

    members: whole numbers, each once, in any order.  numbers: by name, of the kind that the name stands for in a file
    (store/groups.py): floats, nan where unknown; texts, empty where unknown; flags 1, 0, or -1 where unknown; whole
    numbers, -1 where unknown.  status, reason: as of a Row.  What a member varied is not in it: the design gives it.
    Errors: ValueError where lengths differ or a member is there twice.
    """

    members: np.ndarray
    numbers: Mapping[str, np.ndarray]
    status: np.ndarray
    reason: np.ndarray

    def __post_init__(self):
        columns = {"status": self.status, "reason": self.reason, **self.numbers}
        wrong = [name for name, values in columns.items() if np.shape(values) != (len(self.members),)]
        if wrong:
            raise ValueError(
                f"a block has {len(self.members)} members, of {', '.join(wrong)} it has not so many values"
            )
        if len(np.unique(self.members)) < len(self.members):
            raise ValueError("a block has each member once, one is there twice")

    def __len__(self) -> int:
        return len(self.members)

    @property
    def failed(self) -> int:
        """Members that did not end well."""
        return int(np.sum(np.asarray(self.status) != "completed"))
