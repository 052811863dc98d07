"""Where in the motion what was timed lies: its time less the conjunction in longitude, and how wrong that may be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .mid_times import Readings

OFFSET_OF = "offset of kind"
"""With which the names of those causes begin that move all events of a kind and body alike: a clock, a definition."""


@dataclass(frozen=True)
class Middles:
    """offset_s (n,): what was timed less the conjunction in longitude, as modelled; columns_s (n, m): by one sigma of
    each of m independent causes (scattering law, definition, shapes ..) what was timed may lie off that.  causes: what
    a reader calls each column; empty texts, or none at all, for those without a name of their own.  turned_s (n,): s
    per rad/s, by how much later what was timed lies where the apsides turn faster than expected; 0 where not given."""

    offset_s: np.ndarray
    columns_s: np.ndarray
    causes: tuple[str, ...] = ()
    turned_s: np.ndarray = None  # type: ignore[assignment]

    def __post_init__(self):
        if self.turned_s is None:
            object.__setattr__(self, "turned_s", np.zeros_like(self.offset_s))

    def conjunctions(self, timed: Readings, apsidal_rad_s: float) -> Readings:
        """Readings of what was timed as those of conjunctions, for the rate of apsides at which the offsets are."""
        return replace(timed.earlier(self.offset_s - self.turned_s * apsidal_rad_s), turned_s=self.turned_s)

    def chosen(self, which: np.ndarray) -> Middles:
        """Of some of the events."""
        return replace(
            self, offset_s=self.offset_s[which], columns_s=self.columns_s[which], turned_s=self.turned_s[which]
        )
