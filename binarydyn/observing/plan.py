"""What a campaign will measure: the sigma of the period change after every night, and when the change is detected.

The events are those of the simulation that a night can show; the sigma is that of the fit of event times
(timing/fit.py) by its linear covariance, with the ellipse after the impact, which costs most of the precision
of the first nights, and the fit's own error, on the same events without noise, added as `timing` adds it.  Weather is
drawn: every night is lost with the stated chance, in WEATHERS histories; the fit's own error is that without losses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from ..errors import FewCyclesError, InputError
from ..kinds import takes
from ..prediction.solar_tide import left_out
from ..prediction.windows import periods_s
from ..relaxed.start import start
from ..scenario import Scenario
from ..scenario.tables.campaign import Campaign as CampaignTable
from ..sky.geometry import Sky
from ..timing.cycle_count import EVENTS_NEEDED
from ..timing.design import TimingDesign
from ..timing.fit import fitted
from ..timing.mid_times import Readings, readings, sight_for
from ..timing.orbit import Counted
from ..timing.terms import NAMES, Foreknown
from .event_times import expected
from .nights import check_counts, date_of, seen_events
from .worlds import with_turns

DETECTED = 3.0
"""Sigmas (common practice)."""
WEATHERS = 200
"""Histories of lost nights: 3 % on the median night."""
QUANTILES = (0.16, 0.5, 0.84)


@dataclass(frozen=True)
class PlannedNight:
    """After a night: events seen so far after t0 and sigma of the change, s, if no night is lost, and with losses.

    sigma_s, and sigmas_with_loss_s at QUANTILES of the weather: of fit_sigma_s, of the fit alone, and bias_s, what the
    fit of exact events misses the simulated change by.  inf, bias_s None: too few events.
    """

    number: int
    date_utc: str
    events: int
    fit_sigma_s: float
    bias_s: float | None
    sigma_s: float
    sigmas_with_loss_s: tuple[float, ...]


@dataclass(frozen=True)
class Detection:
    """First night from which on a change of a size stands out by DETECTED sigmas; None: on none that is planned.

    with_losses: at QUANTILES of the weather.
    """

    size_s: float
    night: int | None
    with_losses: tuple[int | None, ...]


@dataclass(frozen=True)
class Plan:
    """What `plan` returns; nights counted from 1, the first after t0.

    The fit behind it: readings of the exact events, their counted longitudes (n,), and the night of each, 1, 2, ..
    after t0, -1, -2, .. before it.
    """

    scenario: Scenario
    change_s: float
    events_before: int
    nights: tuple[PlannedNight, ...]
    predicted: Detection
    required: Detection | None
    measured_to: Detection | None
    design: TimingDesign
    expected: Foreknown
    readings: Readings
    night_of: np.ndarray
    counted_rad: np.ndarray
    warnings: tuple[str, ...]


@takes(scenario="Scenario")
def plan(scenario: Scenario) -> Plan:
    """Foretell the precision of the campaign of a scenario.

    InputError where the scenario does not say where the system is, has no impact, or the nights show too few events.
    """
    if scenario.kind_of_impact == "none":
        raise InputError(
            scenario.place, "neither [impactor] nor [velocity_change] is given, a plan is for a change; add one"
        )
    campaign, sky, begun = scenario.campaign, Sky.of(scenario), start(scenario)
    found = seen_events(scenario, sky, begun)
    check_counts(scenario, found.passed)
    mids, night, hit = found.mids, found.night_of, found.hit
    sight = sight_for(sky, mids)
    seen, known = readings(mids, sight), expected(begun)
    counted = with_turns(seen.longitude_rad, seen.time_s, found.runs)
    sigma = np.full(len(mids), campaign.mid_time_sigma_s)
    best = fitted(seen, counted, sigma, None, None, known)
    design = TimingDesign.of(seen, counted, known, best.values)
    change, before_s = _change_s(scenario, begun.system, hit), begun.period_h * HOUR_S
    late = Counted(seen, counted).late_s(np.array([best.values[name] for name in NAMES]))
    by_night = _ByNight(design, night, late, campaign)
    sigmas = by_night.sigmas()
    lost = np.array([by_night.sigmas(is_open) for is_open in _weathers(campaign)])
    own = by_night.biases(best.change_s - change)
    whole, lost = (np.hypot(fit, np.nan_to_num(own)) for fit in (sigmas, lost))
    nights = tuple(
        PlannedNight(
            k,
            date_of(scenario, sky, k),
            int(np.sum((night > 0) & (night <= k))),
            float(sigmas[k - 1]),
            float(own[k - 1]) if np.isfinite(own[k - 1]) else None,
            float(whole[k - 1]),
            tuple(float(q) for q in _quantiles(lost[:, k - 1])),
        )
        for k in range(1, campaign.nights_after + 1)
    )
    asked = scenario.requirement
    detect = _Detect(whole, lost)
    return Plan(
        scenario=scenario,
        change_s=change,
        events_before=int(np.sum(night < 0)),
        nights=nights,
        predicted=detect.of(abs(change), abs(change) / DETECTED),
        required=detect.of(asked.period_change_s, asked.period_change_s / DETECTED)
        if asked and asked.period_change_s
        else None,
        measured_to=detect.of(asked.precision_s, asked.precision_s) if asked and asked.precision_s else None,
        design=design,
        expected=known,
        readings=seen,
        night_of=night,
        counted_rad=counted,
        warnings=begun.warnings + hit.warnings + left_out(scenario, before_s, before_s + change, nights[-1].sigma_s),
    )


def _change_s(scenario: Scenario, system, hit) -> float:
    """What `predict` says for the windows of [simulation]."""
    try:
        before, after = periods_s(scenario, system, hit)
    except (FewCyclesError, InputError) as error:
        raise InputError(scenario.place, f"there is no predicted change to plan for ({error}); predict it") from None
    return after - before


class _ByNight:
    """The information of each night, and what the fit knows after each one of those after t0."""

    def __init__(self, design: TimingDesign, night: np.ndarray, late_s: np.ndarray, campaign: CampaignTable):
        """late_s (n,): events against the fit of all of them."""
        self.design, self.count = design, campaign.nights_after
        found, information, force = design.information(campaign.mid_time_sigma_s, 0.0, night, late_s)
        self.nights = np.concatenate([np.arange(min(night.min(), -1), 0), np.arange(1, self.count + 1)])
        at = np.searchsorted(self.nights, found)
        self.information = np.zeros((len(self.nights), *information.shape[1:]))
        self.force = np.zeros(self.information.shape[:2])
        self.information[at], self.force[at] = information, force
        self.events = np.array([np.sum(night == k) for k in self.nights])

    def sigmas(self, is_open: np.ndarray | None = None) -> np.ndarray:
        """(count,) of the change after each night; is_open: of each night from the last, or all."""
        information, events = self._up_to(is_open)
        return np.where(events, self.design.change_sigmas_s(information), np.inf)

    def biases(self, whole_s: float) -> np.ndarray:
        """(count,) by how much the fit of the exact events up to each night misses the simulated change; nan: too few.

        whole_s: what that of all of them misses by.
        """
        information, enough = self._up_to(None)
        early = self.nights < 0
        force = self.force[early].sum(axis=0) + np.cumsum(self.force[~early], axis=0)
        out = np.full(self.count, np.nan)
        if enough.any():
            out[enough] = whole_s + self.design.pulls_s(information[enough], force[enough])
        return out

    def _up_to(self, is_open: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
        """(count, p, p) information after each night, and (count,) whether the events are enough for the fit."""
        kept = np.ones(len(self.nights)) if is_open is None else is_open[-len(self.nights) :].astype(float)
        early, information, events = self.nights < 0, self.information * kept[:, None, None], self.events * kept
        whole = information[early].sum(axis=0) + np.cumsum(information[~early], axis=0)
        enough = (events[early].sum() >= EVENTS_NEEDED) & (np.cumsum(events[~early]) >= EVENTS_NEEDED)
        return whole, enough


def _weathers(campaign: CampaignTable) -> np.ndarray:
    """(WEATHERS, nights) which nights are not lost; history k depends on the seed and k alone."""
    count = campaign.nights_before + campaign.nights_after + 1
    return np.array(
        [np.random.default_rng((campaign.seed, k)).random(count) >= campaign.lost_fraction for k in range(WEATHERS)]
    )


def _quantiles(values: np.ndarray) -> np.ndarray:
    """At QUANTILES, where some may be infinite: values in order, none in between."""
    return np.quantile(values, QUANTILES, method="inverted_cdf")


@dataclass(frozen=True)
class _Detect:
    """Sigmas after each night (n,), and with losses (weathers, n)."""

    sigmas: np.ndarray
    lost: np.ndarray

    def of(self, size_s: float, least_sigma_s: float) -> Detection:
        """Where the sigma goes below a limit for good."""
        found = np.array([np.inf if (k := _for_good(row, least_sigma_s)) is None else k for row in self.lost])
        lost = tuple(None if mark == np.inf else int(mark) for mark in _quantiles(found))
        return Detection(float(size_s), _for_good(self.sigmas, least_sigma_s), lost)


def _for_good(sigmas: np.ndarray, least: float) -> int | None:
    """Number of the first night from which on sigmas are at most `least`."""
    above = np.flatnonzero(~(sigmas <= least))
    first = int(above[-1]) + 1 if len(above) else 0
    return first + 1 if first < len(sigmas) else None
