"""The nights of a campaign: which events each of them shows, and why the others are not seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import DAY_S, HOUR_S
from ..errors import InputError
from ..scenario import Scenario
from ..sky.dips import Dips
from ..sky.geometry import Sight, Sky, altitudes_deg
from ..timing.cycle_count import EVENTS_NEEDED
from ..timing.mid_times import nights_of


@dataclass(frozen=True)
class SeenDips:
    """What the nights of [campaign] show, without noise and losses.

    rows (n,): of the table of dips.  night_of (n,): 1, 2, .. after t0, -1, -2, .. before it.  passed: (2, 5) of the
    events before and after t0 in the time of the campaign: how many there are, deep enough, of these with the Sun low
    enough, of these with the system high enough too, of these whole inside a night.
    """

    rows: np.ndarray
    night_of: np.ndarray
    passed: np.ndarray


def seen_dips(scenario: Scenario, sight: Sight, table: Dips) -> SeenDips:
    """The dips that the nights of [campaign] show; depths by the light of Lommel and Seeliger's law."""
    missing = np.clip(table.depth_m2[:, 0] / np.maximum(table.light_m2[:, 0], 1e-300), 0.0, 1.0 - 1e-12)
    return SeenDips(*_shown(scenario, sight, table.first_s, table.last_s, -2.5 * np.log10(1.0 - missing)))


def _shown(scenario: Scenario, sight: Sight, first_s: np.ndarray, last_s: np.ndarray, depth_mag: np.ndarray):
    """Of events (m,): which are seen (n,), the night of each, and passed of SeenDips."""
    after = 0.5 * (first_s + last_s) >= 0.0
    stages, night = _stages(scenario, sight, first_s, last_s, depth_mag)
    passed = np.array([[np.sum(stage & (after == late)) for stage in stages] for late in (False, True)])
    kept = np.flatnonzero(stages[-1])
    return kept, night[kept], passed


def _stages(
    scenario: Scenario, sight: Sight, first_s: np.ndarray, last_s: np.ndarray, depth_mag: np.ndarray
) -> tuple[list[np.ndarray], np.ndarray]:
    """What passes each condition and all before it, as SeenDips.passed says, and the night (m,) nearest to each
    event."""
    campaign, middle = scenario.campaign, 0.5 * (first_s + last_s)
    if not len(middle):
        return [np.zeros(0, dtype=bool)] * 5, np.zeros(0, dtype=int)
    after = middle >= 0.0
    seen, first = middle + sight.light_time_s(middle), first_midnight_s(scenario, sight.sky)
    nearest = nights_of(seen, first)
    # the night of the impact itself shows events of both sides
    night = np.where(after, nearest + 1, np.minimum(nearest, 0) - 1)
    there = np.where(after, night <= campaign.nights_after, night >= -campaign.nights_before - 1)
    deep = there & (depth_mag >= campaign.least_depth_mag)
    dark, up = deep.copy(), deep.copy()
    for contact in (first_s, last_s) if sight.sky.site and deep.any() else ():
        time = contact[deep]
        sun, pair = altitudes_deg(sight.sky, time + sight.light_time_s(time))
        dark[deep] &= sun < campaign.sun_below_deg
        up[deep] &= pair > campaign.system_above_deg
    room = 0.5 * campaign.night_h * HOUR_S - 0.5 * (last_s - first_s)
    inside = np.abs(seen - first - nearest * DAY_S) <= room
    return [there, deep, dark, dark & up, dark & up & inside], night


def _middle_h(scenario: Scenario) -> float:
    """Middle of the night, UTC."""
    campaign, east = scenario.campaign, scenario.observer.longitude_deg
    if campaign.night_mid_utc_h is not None:
        return campaign.night_mid_utc_h
    return 0.0 if east is None else (-east / 15.0) % 24.0


def first_midnight_s(scenario: Scenario, sky: Sky) -> float:
    """Middle of the first night of [campaign] that ends after t0 is seen, s from t0 on the observer's clock."""
    epoch = sky.clock.epoch_utc
    hour = epoch.hour + epoch.minute / 60.0 + (epoch.second + 1e-6 * epoch.microsecond) / 3600.0
    wait = (_middle_h(scenario) - hour) * HOUR_S
    seen, half = sky.light_time_s, 0.5 * scenario.campaign.night_h * HOUR_S
    return wait + DAY_S * np.ceil((seen - half - wait) / DAY_S)


def dates_of(scenario: Scenario, sky: Sky, count: int) -> list[str]:
    """Of the middles of the first nights after t0, UTC."""
    return [text[:10] for text in sky.clock.utc(first_midnight_s(scenario, sky) + np.arange(count) * DAY_S)]


def check_counts(scenario: Scenario, passed: np.ndarray) -> None:
    """InputError where a side has too few events for the fit, with what keeps most of them from being seen."""
    for side, counts in zip(("before", "after"), passed.tolist(), strict=True):
        if counts[-1] < EVENTS_NEEDED:
            raise InputError(
                f"{scenario.place}:campaign",
                f"its nights show {counts[-1]} events {side} the impact, the fit needs {EVENTS_NEEDED}: "
                f"{_why(scenario, counts)}",
            )


def _why(scenario: Scenario, passed: list[int]) -> str:
    """The conditions one after the other, with what passes, and what to do about the one that takes most."""
    campaign = scenario.campaign
    conditions = [
        (f"are {campaign.least_depth_mag:g} mag deep", "lower least_depth_mag"),
        (f"have the Sun below {campaign.sun_below_deg:g} deg", "choose another site or season, or raise sun_below_deg"),
        (
            f"have the system above {campaign.system_above_deg:g} deg",
            "choose another site or season, or lower system_above_deg",
        ),
        (f"lie whole inside the {campaign.night_h:g} h", "add hours"),
    ]
    has_site, said, advice = scenario.observer.longitude_deg is not None, [], "add nights"
    for k in range(4) if has_site else (0, 3):
        said.append(f"{passed[k + 1]} {'of these ' if k else ''}{conditions[k][0]}")
        if passed[k + 1] < EVENTS_NEEDED <= passed[k]:
            advice = conditions[k][1]
            break
    return f"of {passed[0]} in their time {', '.join(said)}; {advice}"
