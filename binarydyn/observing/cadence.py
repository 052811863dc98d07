"""Which events a campaign times, found again in any simulated system: a cadence, apart from the times themselves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..errors import ArgumentError
from ..timing.mid_times import MidTimes, readings
from .modelled_middles import codes_of, middles_for, off_conjunction_s, places_of, timed_apart
from .reference import MODELLED_DAYS, Reference
from .synthetic_times import in_one_law
from .worlds import World


@dataclass(frozen=True)
class Cadence:
    """n events of the nominal system: their codes (n,) in its tables, and as they are timed."""

    codes: np.ndarray
    mids: MidTimes

    @classmethod
    def of(cls, reference: Reference, mids: MidTimes) -> Cadence:
        """From times, each of which is that of the nearest event of its kind and body.  InputError where none is one,
        or without simulated systems."""
        if reference.found is None:
            raise ArgumentError(
                "events", f"they span too many days to be simulated, {MODELLED_DAYS:g} a side are allowed; cut them"
            )
        mids = mids.sorted()
        time = readings(mids, reference.found.nominal.sight).time_s
        rows = middles_for(mids, time, reference.found).rows
        codes = np.full(len(mids), -1)
        for apart, here in _tables(mids):
            table = codes_of(reference.found.nominal.table(apart))
            codes[here] = np.where(rows[here] >= 0, table[rows[here]], -1)
        if not (codes >= 0).any():
            raise ArgumentError("events", "none of them is an event of the scenario; check kinds, bodies and times")
        return cls(codes[codes >= 0], mids.chosen(codes >= 0))

    def exact_in(self, world: World, law: str) -> MidTimes:
        """When the same events are seen in a system, without those that it does not show, by a scattering law."""
        middle = np.full(len(self.mids), np.nan)
        for apart, here in _tables(self.mids):
            table = world.table(apart)
            rows = places_of(codes_of(table), self.codes[here])
            values = off_conjunction_s(table, rows, self.mids.timed[here])
            same = (rows >= 0) & (table.kind[rows] == self.mids.kind[here])
            found = in_one_law(values, table.depth_m2[rows], law) + table.conjunction_s[rows]
            middle[here] = np.where(same, found, np.nan)
        known = np.isfinite(middle)
        seen = middle[known] + world.sight.light_time_s(middle[known])
        return self.mids.chosen(known).seen_at(seen)


def _tables(mids: MidTimes) -> Iterator[tuple[bool, np.ndarray]]:
    """Whether events are looked for apart, and which (n,) are."""
    contacts = timed_apart(mids)
    yield from ((apart, here) for apart, here in ((False, ~contacts), (True, contacts)) if here.any())
