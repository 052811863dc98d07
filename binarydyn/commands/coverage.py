"""`binarydyn coverage`: how often the intervals of `timing` hold the truth, for one's own scenario and cadence."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..constants import DAY_S
from ..errors import ConvergenceError, InputError
from ..prediction.outcomes import OUTCOMES
from ..scenario import Scenario
from ..scenario.wording import CAUTION
from ..terminal.interruption import Interruption
from ..terminal.options import (
    Events,
    File,
    Json,
    NightNoise,
    NoiseS,
    Observers,
    Plot,
    Share,
    Timed,
    gathered,
    scenario_of,
)
from ..terminal.progress import say_if_cold, stages, watched
from ..terminal.tables import check_outputs, print_json, print_table, told_after
from .timing import observing_of

if TYPE_CHECKING:
    from ..observing.coverage import Coverage, Trial
    from ..observing.synthetic_times import Observing
    from ..timing.mid_times import MidTimes

_NAMES = {
    "period_change_s": (OUTCOMES["period_change_s"].label, "s", 1.0, ".3g"),
    "eccentricity_after": ("Eccentricity after", "", 1.0, ".2g"),
    "apsidal_precession_rad_s": (
        OUTCOMES["apsidal_precession_after_deg_day"].label,
        "deg/day",
        math.degrees(1.0) * DAY_S,
        ".3g",
    ),
}


@dataclass(frozen=True)
class CadenceOptions:
    """Which events are timed."""

    events: Events = None
    campaign: Annotated[bool, typer.Option("--campaign", help="Time what the nights of [campaign] show.")] = False
    days: Annotated[
        float | None,
        typer.Option("--days", help="Time all events of these days before and after the impact. [default: 14]"),
    ] = None


@dataclass(frozen=True)
class ObservingOptions:
    """How they are."""

    noise_s: NoiseS = None
    night_noise_s: NightNoise = None
    timed: Timed = None
    observers: Observers = None
    share: Share = None
    outliers: Annotated[float, typer.Option("--outliers", help="Fraction of times with ten times the noise.")] = 0.0
    stated: Annotated[float, typer.Option("--stated", help="Stated sigma over the true noise; 0 states none.")] = 1.0


@gathered
def coverage(
    *,
    file: File = "",
    which: CadenceOptions,
    observing: ObservingOptions,
    truths: Annotated[int, typer.Option("--truths", help="Number of simulated true systems.")] = 100,
    law: Annotated[
        str | None,
        typer.Option("--law", help="Scattering law of all truths, lommel_seeliger or lambert. [default: in turns]"),
    ] = None,
    robust: Annotated[bool, typer.Option("--robust", help="Fit with Student's t errors.")] = False,
    seed: Annotated[int, typer.Option("--seed", help="Random seed.")] = 0,
    as_json: Json = False,
    plot: Plot = "",
) -> int:
    """How often the intervals that timing states hold the truth, over simulated systems that are timed and fitted.

    Truths are drawn from [sampling], or with usual errors of sizes, separation and pole, with the impulse uncertain.
    --events: a table of times gives the cadence (which events, their sigmas, nights and observers).
    """
    from ..observing.coverage import check_law, check_truths, coverages

    scenario = scenario_of(file)
    if sum((which.events is not None, which.campaign, which.days is not None)) > 1:
        raise InputError("--days", "more than one of --events, --campaign and --days is given, one is allowed; choose")
    check_outputs({"--plot": plot}, scenario, file, *(which.events or ()))
    check_truths(truths)
    check_law(law)
    _check_cadence(scenario, which, observing)
    how = observing_of(scenario, which.campaign, **vars(observing))
    say_if_cold()
    template = _template(scenario, which, how, observing.noise_s is not None)
    found, interrupted = _trials(scenario, template, how, truths, (seed, robust, law))
    told = coverages(found)
    if not told:
        why = found[0].status if found else "interrupted before the first"
        raise ConvergenceError(f"no truth was fitted ({why})")
    with told_after(
        lambda: print_json(_report(scenario, how, law, found, told)) if as_json else _print(scenario, found, told)
    ):
        if plot:
            from ..plots.pages.coverage import save_coverage

            save_coverage(plot, scenario.name, found)
    return interrupted


def _check_cadence(scenario: Scenario, which: CadenceOptions, observing: ObservingOptions) -> None:
    """Refuse what has no effect, and more days than are simulated, before anything is."""
    from ..observing.reference import MODELLED_DAYS

    if which.events and observing.timed is not None:
        raise InputError("--timed", "it is given with --events, whose column `timed` says what was timed; leave it out")
    longest = max(scenario.campaign.nights_before, scenario.campaign.nights_after) + 1.0
    for place, days in (("--days", which.days or 0.0), ("--campaign", longest if which.campaign else 0.0)):
        if days > MODELLED_DAYS:
            raise InputError(place, f"{days:g} days are given, {MODELLED_DAYS:g} a side are allowed; take fewer")


def _template(scenario: Scenario, which: CadenceOptions, how: Observing, noise_given: bool) -> MidTimes:
    """Times whose events, sigmas and groups are the cadence."""
    from ..observing.synthetic_times import synthesised, synthesised_nights
    from .timing import times_from

    if which.events:
        times = times_from(scenario, which.events)
        if noise_given and times.sigma_s is not None:
            raise InputError(
                "--noise-s",
                "it is given with --events whose times have sigma_s, which is then their noise; leave it out",
            )
        return times
    exact = replace(how, noise_s=0.0, night_noise_s=0.0, share=1.0, outliers=0.0)
    if which.campaign:
        return synthesised_nights(scenario, exact, 0)
    return synthesised(scenario, 14.0 if which.days is None else which.days, exact, 0)


def _trials(
    scenario: Scenario, template: MidTimes, how: Observing, truths: int, choice: tuple[int, bool, str | None]
) -> tuple[list[Trial], int]:
    """All of them, or those that were done when somebody interrupted; and the exit code."""
    from ..observing.cadence import Cadence
    from ..observing.coverage import tried
    from ..observing.event_times import reference_for

    found: list[Trial] = []
    with Interruption() as interruption:
        try:
            reference = reference_for(scenario, template, watch=stages(True))
            cadence = Cadence.of(reference, template)
            for trial in watched(tried(reference, cadence, how, truths, *choice), truths, 0, "coverage"):
                found.append(trial)
        except KeyboardInterrupt:
            print(f"interrupted after {len(found)} of {truths} truths", file=sys.stderr)
            return found, interruption.code
    return found, 0


def _report(
    scenario: Scenario, how: Observing, law: str | None, found: Sequence[Trial], told: Sequence[Coverage]
) -> dict[str, Any]:
    from ..observing.coverage import laws_of

    done = [trial for trial in found if trial.status == "completed"]
    return {
        "scenario": scenario.name,
        "scenario_sha256": scenario.sha256,
        "observing": {name: value for name, value in asdict(how).items() if name != "law"} | {"laws": laws_of(law)},
        "truths": len(found),
        "fitted": len(done),
        "quantities": [asdict(one) | {"verdict": one.verdict} for one in told],
        "trials": [
            {
                "number": trial.number,
                "status": trial.status,
                "events": trial.events,
                **{name: getattr(trial, name).tolist() for name in ("truth", "mean", "sigma", "below")},
            }
            for trial in found
        ],
        "caution": CAUTION,
    }


def _print(scenario: Scenario, found: Sequence[Trial], told: Sequence[Coverage]) -> None:
    done = [trial for trial in found if trial.status == "completed"]
    events = sorted(trial.events for trial in done)
    print(
        f"{scenario.name or 'scenario'} ({scenario.place}): {len(done)} of {len(found)} truths fitted, "
        f"{events[len(events) // 2]} events each (median)\n"
    )
    head = ("", "unit", "50 %", "68 %", "90 %", "95 %", "+-", "bias", "+-", "RMS error", "median sigma", "intervals")
    print_table(head, [_cells(one) for one in told])
    print("covered: how many per cent of the central intervals hold the truth, +-: binomial, at 68 %")
    lost = [trial.status for trial in found if trial.status != "completed"]
    for status in sorted(set(lost)):
        print(f"{lost.count(status)} not fitted: {status}")
    verdicts = ", ".join(f"{_NAMES[one.name][0].lower()} {one.verdict}" for one in told)
    print(f"intervals: {verdicts}")
    print(CAUTION)


def _cells(one: Coverage) -> tuple[str, ...]:
    name, unit, factor, form = _NAMES[one.name]
    numbers = (one.bias, one.bias_sigma, one.rms, one.median_sigma)
    bias, *others = (format(factor * value, form) for value in numbers)
    shares = [f"{100.0 * share:.0f}" for share in one.covered]
    return name, unit, *shares, f"{100.0 * one.covered_sigma[1]:.0f}", bias, *others, one.verdict
