"""What a campaign will measure: the sigma of the period change after every night, and when the change is detected.

The events are those dips of the simulation that a night can show; the sigma is that of the fit of event times
(timing/fit.py) by its linear covariance, with the ellipse after the impact, which costs most of the precision
of the first nights, with what is not known of shapes, pole and surface, and with the fit's own error, on the same
events without noise.  Weather is drawn: every night is lost with the stated chance, in WEATHERS histories; the fit's
own error is that without losses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..constants import HOUR_S
from ..errors import FewCyclesError, InputError
from ..kinds import takes
from ..prediction.solar_tide import left_out
from ..prediction.windows import periods_s
from ..scenario import Scenario
from ..scenario.tables.campaign import Campaign as CampaignTable
from ..sky.dips import Dips
from ..timing.cycle_count import EVENTS_NEEDED
from ..timing.design import TimingDesign
from ..timing.fit import fitted
from ..timing.mid_times import MidTimes, Readings, readings_at
from ..timing.middles import Middles
from ..timing.orbit import Counted
from ..timing.terms import NAMES, Foreknown
from .modelled_middles import middles_for
from .nights import check_counts, date_of, seen_dips
from .reference import Reference
from .uncertain_inputs import usual_errors
from .worlds import Worlds, worlds

DETECTED = 3.0
"""Sigmas (common practice)."""
WEATHERS = 200
"""Histories of lost nights: 3 % on the median night."""
QUANTILES = (0.16, 0.5, 0.84)
MEMBERS = 16
"""Drawn systems behind the sigma: their number makes it uncertain by 18 % of the part that they have in it."""


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

    drawn: simulated systems behind the errors of the middles.  The fit behind it: readings of exact conjunctions, their
    counted longitudes (n,), and the night of each, 1, 2, .. after t0, -1, -2, .. before it.
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
    middles: Middles | None
    drawn: int
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
    campaign, reference = scenario.campaign, _reference(scenario)
    begun, world = reference.begun, reference.found.nominal
    shown = seen_dips(scenario, reference.sky, world.dips)
    check_counts(scenario, shown.passed)
    night, dips = shown.night_of, world.dips.chosen(shown.rows)
    seen = readings_at(world.sight, dips.kind, dips.body, dips.conjunction_s)
    counted = world.counted_rad(dips)
    middles = _middles(reference, dips, seen)
    sigma, known = np.full(len(dips), campaign.mid_time_sigma_s), reference.expected
    best = fitted(seen, counted, sigma, None, middles, known)
    design = TimingDesign.of(seen, counted, known, best.values, middles)
    change, before_s = _change_s(scenario, begun.system, world.impact), begun.period_h * HOUR_S
    late = Counted(seen, counted).late_s(np.array([best.values[name] for name in NAMES]))
    by_night = _ByNight(design, night, late, campaign)
    sigmas = by_night.sigmas()
    lost = np.array([by_night.sigmas(is_open) for is_open in _weathers(campaign)])
    own = by_night.biases(best.change_s - reference.orbit_of(world).change_s)
    whole, lost = (np.hypot(fit, np.nan_to_num(own)) for fit in (sigmas, lost))
    nights = tuple(
        PlannedNight(
            k,
            date_of(scenario, reference.sky, k),
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
        middles=middles,
        drawn=len(reference.found.members),
        warnings=begun.warnings
        + world.impact.warnings
        + _assumed(reference)
        + left_out(scenario, before_s, before_s + change, nights[-1].sigma_s),
    )


@dataclass(frozen=True)
class _Planned(Reference):
    """A reference with simulated systems in any case: the nominal one alone where a campaign is long."""

    found: Worlds


def _reference(scenario: Scenario) -> _Planned:
    days = scenario.campaign.nights_before + 1.0, scenario.campaign.nights_after + 1.0
    of = Reference.of(scenario, days, MEMBERS)
    found = of.found or worlds(scenario, of.sky, *days, 0)
    return _Planned(scenario, of.sky, of.begun, days, found)


def _middles(reference: _Planned, dips: Dips, seen: Readings) -> Middles | None:
    """What may be wrong with dips whose conjunctions are exact; None without drawn systems."""
    if not reference.found.members:
        return None
    mids = MidTimes(dips.kind, dips.body, dips.conjunction_s)
    columns = middles_for(mids, dips.conjunction_s, reference.found, reference.found.nominal.counted_rad(dips)).middles
    return replace(columns, offset_s=np.zeros(len(dips)))


def _assumed(reference: _Planned) -> tuple[str, ...]:
    """What is taken as uncertain."""
    if not reference.found.members:
        return (
            "the nights span too many days for drawn systems: what is not known of shapes and pole is not in sigma",
        )
    return usual_errors(reference.scenario)


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
        noise = campaign.mid_time_sigma_s, campaign.night_sigma_s
        found, information, force = design.information(*noise, night, late_s)
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
