"""Where in the motion what was timed lies: its time less the conjunction in longitude, and how wrong that may be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

OFFSET_OF = "offset of kind"
"""With which the names of those causes begin that move all events of a kind and body alike: a clock, a definition."""


@dataclass(frozen=True)
class Middles:
    """offset_s (n,): what was timed less the conjunction in longitude, as modelled; columns_s (n, m): by one sigma of
    each of m independent causes (scattering law, definition, shapes ..) what was timed may lie off that.  causes: what
    a reader calls each column; empty texts, or none at all, for those without a name of their own."""

    offset_s: np.ndarray
    columns_s: np.ndarray
    causes: tuple[str, ...] = ()

    def chosen(self, which: np.ndarray) -> Middles:
        """Of some of the events."""
        return replace(self, offset_s=self.offset_s[which], columns_s=self.columns_s[which])
