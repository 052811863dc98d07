"""Which events make one dip of light: an eclipse, an occultation, or both of one body while they overlap in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .event_search import BODIES, KINDS, Halves

ECLIPSE, OCCULTATION = KINDS
BOTH = "both"
MEASURED_KINDS = (*KINDS, BOTH)
"""What may be timed."""


@dataclass(frozen=True)
class Causes:
    """n dips: which half of the orbit has its eclipse and which its occultation, -1 for none."""

    halves: dict[str, Halves]
    place: dict[str, np.ndarray]

    @classmethod
    def of(cls, halves: dict[str, Halves], merged: bool) -> Causes:
        """Whole ones, in the order of time."""
        happen = {kind: np.flatnonzero(found.happens) for kind, found in halves.items()}
        eclipses, occultations = (happen.get(kind, np.empty(0, dtype=int)) for kind in KINDS)
        partner = np.full(len(eclipses), -1)
        if merged and len(halves) == len(KINDS):
            partner = _overlapping(halves[ECLIPSE], halves[OCCULTATION], eclipses, occultations)
        alone = np.setdiff1d(occultations, partner)
        none = np.full(len(alone), -1)
        found = cls(halves, {ECLIPSE: np.append(eclipses, none), OCCULTATION: np.append(partner, alone)})
        whole = np.flatnonzero(found._all("whole"))
        return found._chosen(whole[np.argsort((found.first_s + found.last_s)[whole], kind="stable")])

    def _chosen(self, which: np.ndarray) -> Causes:
        return Causes(self.halves, {kind: place[which] for kind, place in self.place.items()})

    def __len__(self) -> int:
        return len(self.place[ECLIPSE])

    def has(self, kind: str) -> np.ndarray:
        """(n,) whether it has this cause."""
        return self.place[kind] >= 0

    def values(self, kind: str, name: str, missing=np.nan) -> np.ndarray:
        """(n,) an attribute of that cause."""
        found = np.full(len(self), missing)
        if kind in self.halves:
            here = self.has(kind)
            found[here] = getattr(self.halves[kind], name)[self.place[kind][here]]
        return found

    @property
    def first_s(self) -> np.ndarray:
        """(n,) contact 1 of the whole."""
        return np.fmin(*(self.values(kind, "first_s") for kind in KINDS))

    @property
    def last_s(self) -> np.ndarray:
        """(n,) contact 4 of the whole."""
        return np.fmax(*(self.values(kind, "last_s") for kind in KINDS))

    @property
    def front(self) -> np.ndarray:
        """(n,) whether the secondary is in front."""
        return self.leading("front").astype(bool)

    @property
    def body(self) -> np.ndarray:
        """(n,) the one that is dimmed."""
        return np.where(self.front, *BODIES)

    def _all(self, name: str) -> np.ndarray:
        return np.logical_and(*(self.values(kind, name, True) for kind in KINDS))

    def leading(self, name: str) -> np.ndarray:
        """(n,) of the eclipse, where there is none of the occultation."""
        eclipse, occultation = (self.values(kind, name, 0) for kind in KINDS)
        return np.where(self.has(ECLIPSE), eclipse, occultation)

    @property
    def kind(self) -> np.ndarray:
        """(n,) one of MEASURED_KINDS."""
        one, two = (self.has(kind) for kind in KINDS)
        return np.where(one & two, BOTH, np.where(one, *KINDS))


def _overlapping(one: Halves, two: Halves, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """For each of `first` (in one) that of `second` (in two) which dims the same body at the same time; -1: none."""
    apart = np.abs(one.mid_s[first][:, None] - two.mid_s[second])
    reach = 0.5 * ((one.last_s - one.first_s)[first][:, None] + (two.last_s - two.first_s)[second])
    apart[(apart >= reach) | (one.front[first][:, None] != two.front[second])] = np.inf
    if not apart.size:
        return np.full(len(first), -1)
    nearest = np.argmin(apart, axis=1)
    return np.where(np.isfinite(apart[np.arange(len(first)), nearest]), second[nearest], -1)
