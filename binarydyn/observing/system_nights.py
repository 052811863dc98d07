"""What the nights of a campaign are worth in one simulated system: the sigma of the period change after each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..scenario import Scenario
from ..timing.cycle_count import EVENTS_NEEDED
from ..timing.design import TimingDesign
from ..timing.exact import ExactOrbit
from ..timing.mid_times import DEFINITIONS, MidTimes, Readings, readings_at
from ..timing.middles import Middles
from ..timing.terms import Foreknown
from .modelled_middles import middles_for
from .nights import SeenDips, seen_dips
from .reference import Reference
from .worlds import World, Worlds


@dataclass(frozen=True)
class SystemNights:
    """n dips that the nights show of one system, without noise and losses.

    mids: centroids of the light that is missing.  orbit: through its longitudes.  readings: of the
    conjunctions, counted_rad (n,) with their turns.  middles: what may be wrong with what is timed.  night_of (n,): 1,
    2, .. after t0, -1, -2, .. before it.
    """

    scenario: Scenario
    mids: MidTimes
    orbit: ExactOrbit
    expected: Foreknown
    readings: Readings
    counted_rad: np.ndarray
    middles: Middles | None
    night_of: np.ndarray

    @classmethod
    def of(cls, reference: Reference, found: Worlds, world: World, shown: SeenDips | None = None) -> SystemNights:
        """reference: whose [campaign] it is; found: of what may be wrong, nothing without drawn systems; shown: by its
        nights, where that is known already."""
        scenario, expected = reference.scenario, reference.expected
        shown = shown or seen_dips(scenario, found.nominal.sight, world.dips)
        dips = world.dips.chosen(shown.rows)
        counted = world.counted_rad(dips)
        time = dips.centroid_s.mean(axis=1)
        timed = np.full(len(dips), DEFINITIONS[0])
        mids = MidTimes(dips.kind, dips.body, time + world.sight.light_time_s(time), timed=timed)
        middles = middles_for(mids, time, found, counted).middles if found.members else None
        seen = readings_at(world.sight, dips.kind, dips.body, dips.conjunction_s, dips.after)
        return cls(scenario, mids, world.orbit, expected, seen, counted, middles, shown.night_of)

    @cached_property
    def design(self) -> TimingDesign:
        """At the orbit of the system."""
        return TimingDesign.of(self.readings, self.counted_rad, self.expected, self.orbit.values, self.middles)

    @cached_property
    def nights(self) -> np.ndarray:
        """(m,) all of the campaign that may show something, in their order."""
        campaign = self.scenario.campaign
        return np.concatenate([np.arange(-campaign.nights_before - 1, 0), np.arange(1, campaign.nights_after + 1)])

    @cached_property
    def _information(self) -> np.ndarray:
        """(m, p, p) of each night."""
        campaign = self.scenario.campaign
        names, each = self.design.information(campaign.mid_time_sigma_s, campaign.night_sigma_s, self.night_of)
        out = np.zeros((len(self.nights), *each.shape[1:]))
        out[np.searchsorted(self.nights, names)] = each
        return out

    def sigmas_s(self, is_open: np.ndarray | None = None) -> np.ndarray:
        """(.., nights_after) of the change after each night; is_open (.., m): which nights are not lost; none is.  inf:
        too few events."""
        kept = np.ones(len(self.nights)) if is_open is None else is_open.astype(float)
        early = self.nights < 0
        count = kept * np.sum(self.night_of == self.nights[:, None], axis=1)
        information = self._information * kept[..., None, None]
        before = information[..., early, :, :].sum(axis=-3, keepdims=True)
        whole = before + np.cumsum(information[..., ~early, :, :], axis=-3)
        enough = np.sum(count[..., early], axis=-1, keepdims=True) >= EVENTS_NEEDED
        enough = enough & (np.cumsum(count[..., ~early], axis=-1) >= EVENTS_NEEDED)
        out = np.full(enough.shape, np.inf)
        if enough.any():
            out[enough] = self.design.change_sigmas_s(whole[enough])
        return out
