"""What a campaign will measure: the sigma of the period change after every night, and how probable its detection is.

The events are the dips of the simulation that a night can show; the sigma is that of the fit of event times
(timing/fit.py) by its linear covariance, with the ellipse after the impact, which costs most of the precision of the
first nights, the common error of each night, and what the modelled mid-times may have wrong.  Systems are drawn from
[sampling] (uncertain_inputs.py), each with its own change and its own events; weather is drawn: every night is lost
with the stated chance, in HISTORIES of both.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..constants import HOUR_S
from ..errors import FewCyclesError, InputError
from ..kinds import takes
from ..prediction.solar_tide import left_out
from ..prediction.windows import periods_s
from ..scenario import Scenario
from ..scenario.tables.campaign import Campaign as CampaignTable
from .nights import check_counts, dates_of, seen_dips
from .reference import Reference
from .system_nights import SystemNights
from .uncertain_inputs import usual_errors
from .worlds import World, Worlds, worlds

DETECTED = 3.0
"""Sigmas (common practice)."""
HISTORIES = 200
"""Of a drawn system and its lost nights: 3 % on the median night, 3 points on a probability."""
SYSTEMS = 12
"""Drawn ones: what they say of the sigma is good to a fifth."""
QUANTILES = (0.16, 0.5, 0.84)
_NONE_DRAWN = "the nights span too many days for drawn systems: what is not known of shapes and pole is not in sigma"


@dataclass(frozen=True)
class PlannedNight:
    """After a night: events seen so far after t0 and sigma of the change, s, if no night is lost; sigma at QUANTILES of
    the histories, and the probability that the change stands out by DETECTED sigmas.  inf: too few events.
    """

    number: int
    date_utc: str
    events: int
    sigma_s: float
    sigmas_with_loss_s: tuple[float, ...]
    detection_probability: float


@dataclass(frozen=True)
class Detection:
    """First night from which on a change of a size stands out by DETECTED sigmas, or its sigma is as small as required;
    None: on none that is planned.

    with_losses: at QUANTILES of the histories.  probability: that it is so after the last night.
    """

    size_s: float
    night: int | None
    with_losses: tuple[int | None, ...]
    probability: float


@dataclass(frozen=True)
class Plan:
    """What `plan` returns; nights counted from 1, the first after t0.

    change_s: what `predict` says.  nominal: the nights of the system as the scenario has it.  systems: those drawn,
    history k is of number k modulo their count; sigmas_s (HISTORIES, nights): with their losses.
    """

    scenario: Scenario
    change_s: float
    events_before: int
    nights: tuple[PlannedNight, ...]
    predicted: Detection
    required: Detection | None
    measured_to: Detection | None
    nominal: SystemNights
    systems: tuple[SystemNights, ...]
    sigmas_s: np.ndarray
    warnings: tuple[str, ...]


@takes(scenario="Scenario")
def plan(scenario: Scenario, progress: Callable[[str, float], None] | None = None) -> Plan:
    """Foretell the precision of the campaign of a scenario; `progress` is told the stage and the share of it that is
    done.

    InputError where the scenario does not say where the system is, has no impact, or the nights show too few events.
    """
    if scenario.kind_of_impact == "none":
        raise InputError(
            scenario.place, "neither [impactor] nor [velocity_change] is given, a plan is for a change; add one"
        )
    campaign, reference, found = scenario.campaign, *_simulated(scenario, progress)
    shown = seen_dips(scenario, found.nominal.sight, found.nominal.dips)
    check_counts(scenario, shown.passed)
    nominal = SystemNights.of(reference, found, found.nominal, shown)
    drawn = (SystemNights.of(reference, found, world) for world in found.members)
    systems = tuple(drawn) or (nominal,)
    change, before_s = _change_s(scenario, found.nominal), reference.begun.period_h * HOUR_S
    sigmas = nominal.sigmas_s()
    lost, weathers = np.empty((HISTORIES, campaign.nights_after)), _weathers(campaign)
    for k, system in enumerate(systems):
        lost[k :: len(systems)] = system.sigmas_s(weathers[k :: len(systems)])
    sizes = np.abs([systems[k % len(systems)].orbit.change_s for k in range(HISTORIES)])
    detect, asked = _Detect(sigmas, lost), scenario.requirement
    detected, dates = _probabilities(lost, sizes), dates_of(scenario, reference.sky, campaign.nights_after)
    nights = tuple(
        PlannedNight(
            k,
            dates[k - 1],
            int(np.sum((nominal.night_of > 0) & (nominal.night_of <= k))),
            float(sigmas[k - 1]),
            tuple(float(q) for q in _quantiles(lost[:, k - 1])),
            float(detected[k - 1]),
        )
        for k in range(1, campaign.nights_after + 1)
    )
    required = asked.period_change_s if asked and asked.period_change_s else None
    precision = asked.precision_s if asked and asked.precision_s else None
    return Plan(
        scenario=scenario,
        change_s=change,
        events_before=int(np.sum(nominal.night_of < 0)),
        nights=nights,
        predicted=detect.of(abs(change), abs(change) / DETECTED, float(detected[-1])),
        required=detect.of(required, required / DETECTED, float(_probabilities(lost, required)[-1]))
        if required
        else None,
        measured_to=detect.of(precision, precision, float(np.mean(lost[:, -1] <= precision))) if precision else None,
        nominal=nominal,
        systems=systems,
        sigmas_s=lost,
        warnings=reference.begun.warnings
        + found.nominal.impact.warnings
        + (usual_errors(scenario) if found.members else (_NONE_DRAWN,))
        + left_out(scenario, before_s, before_s + change, nights[-1].sigma_s),
    )


def _simulated(scenario: Scenario, progress: Callable[[str, float], None] | None) -> tuple[Reference, Worlds]:
    """The nominal system alone where the campaign is long."""
    days = scenario.campaign.nights_before + 1.0, scenario.campaign.nights_after + 1.0
    reference = Reference.of(scenario, days, SYSTEMS, progress)
    return reference, reference.found or worlds(scenario, reference.sky, *days, 0)


def _probabilities(sigmas_s: np.ndarray, size_s: np.ndarray | float) -> np.ndarray:
    """(nights,) that a measured change of a size (histories,), with its error, is DETECTED sigmas from 0."""
    from scipy.special import ndtr

    ratio = np.broadcast_to(np.asarray(size_s), len(sigmas_s))[:, None] / sigmas_s
    return np.mean(np.where(np.isfinite(sigmas_s), ndtr(ratio - DETECTED) + ndtr(-ratio - DETECTED), 0.0), axis=0)


def _change_s(scenario: Scenario, nominal: World) -> float:
    """What `predict` says for the windows of [simulation]."""
    try:
        before, after = periods_s(scenario, nominal.system, nominal.impact)
    except (FewCyclesError, InputError) as error:
        raise InputError(scenario.place, f"there is no predicted change to plan for ({error}); predict it") from None
    return after - before


def _weathers(campaign: CampaignTable) -> np.ndarray:
    """(HISTORIES, nights) which nights are not lost; history k depends on the seed and k alone."""
    count = campaign.nights_before + campaign.nights_after + 1
    return np.array(
        [np.random.default_rng((campaign.seed, k)).random(count) >= campaign.lost_fraction for k in range(HISTORIES)]
    )


def _quantiles(values: np.ndarray) -> np.ndarray:
    """At QUANTILES, where some may be infinite: values in order, none in between."""
    return np.quantile(values, QUANTILES, method="inverted_cdf")


@dataclass(frozen=True)
class _Detect:
    """Sigmas after each night (n,), and with losses (histories, n)."""

    sigmas: np.ndarray
    lost: np.ndarray

    def of(self, size_s: float, least_sigma_s: float, probability: float) -> Detection:
        """Where the sigma goes below a limit for good."""
        found = np.array([np.inf if (k := _for_good(row, least_sigma_s)) is None else k for row in self.lost])
        lost = tuple(None if mark == np.inf else int(mark) for mark in _quantiles(found))
        return Detection(float(size_s), _for_good(self.sigmas, least_sigma_s), lost, probability)


def _for_good(sigmas: np.ndarray, least: float) -> int | None:
    """Number of the first night from which on sigmas are at most `least`."""
    above = np.flatnonzero(~(sigmas <= least))
    first = int(above[-1]) + 1 if len(above) else 0
    return first + 1 if first < len(sigmas) else None
