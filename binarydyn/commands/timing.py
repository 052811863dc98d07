"""`binarydyn timing`: from measured times of mutual events to the periods before and after the impact."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..errors import InputError
from ..scenario import Scenario
from ..terminal.options import (
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
    typed,
)
from ..terminal.progress import say_if_cold, stages
from ..terminal.tables import check_outputs, print_json, told_after

if TYPE_CHECKING:
    from ..observing.event_times import TimingFit
    from ..observing.synthetic_times import Observing
    from ..timing.mid_times import MidTimes


@dataclass(frozen=True)
class SynthesisOptions:
    """What --synthesise writes, and how the times in it come about."""

    synthesise: Annotated[
        str | None, typer.Option("--synthesise", help="Write simulated mid-times to this CSV file and exit.")
    ] = None
    days: Annotated[
        float | None,
        typer.Option(
            "--days", help="With --synthesise: days before and after the impact. [default: 14]", show_default=False
        ),
    ] = None
    campaign: Annotated[
        bool, typer.Option("--campaign", help="With --synthesise: only events observable in the nights of [campaign].")
    ] = False
    noise_s: NoiseS = None
    night_noise_s: NightNoise = None
    law: Annotated[
        str | None,
        typer.Option(
            "--law",
            help="With --synthesise: scattering law, lambert, lommel_seeliger or lommel_seeliger_lambert. [default: "
            "lommel_seeliger]",
        ),
    ] = None
    timed: Timed = None
    observers: Observers = None
    share: Share = None
    seed: Annotated[
        int | None, typer.Option("--seed", help="With --synthesise: random seed. [default: 0]", show_default=False)
    ] = None

    @property
    def length_days(self) -> float | None:
        """Of the window on either side; None for the nights of [campaign]."""
        return None if self.campaign else 14.0 if self.days is None else self.days

    def how(self, scenario: Scenario) -> Observing:
        """As the options say."""
        more = {"law": self.law, "timed": self.timed, "observers": self.observers, "share": self.share}
        return observing_of(scenario, self.campaign, self.noise_s, self.night_noise_s, **more)


@gathered
def timing(
    *,
    file: File = "",
    events: Annotated[
        list[str] | None,
        typer.Option(
            "--events",
            help="CSV file of measured mid-times: mid_utc, kind (eclipse, occultation, both), body; if known sigma_s, "
            "timed (dip_centroid, half_depth, minimum, folded, contacts), observer.",
        ),
    ] = None,
    robust: Annotated[bool, typer.Option("--robust", help="Down-weight outliers (Student's t errors).")] = False,
    as_json: Json = False,
    plot: Plot = "",
    synthesis: SynthesisOptions,
) -> int:
    """Periods before and after the impact, their change, drift and O-C from measured event times."""
    scenario, path = scenario_of(file), synthesis.synthesise
    if path is None and (idle := typed(synthesis)):
        raise InputError(
            idle[0], "it is given with no --synthesise, where it has no effect; leave it out, or add --synthesise FILE"
        )
    if synthesis.campaign and synthesis.days is not None:
        raise InputError("--campaign", "it is given with --days, allowed is one of them; leave one out")
    if path is not None:
        for name, given in (("--events", events), ("--robust", robust), ("--plot", plot)):
            if given:
                raise InputError("--synthesise", f"it is given with {name}, allowed is one of them; leave one out")
        from .texts.synthesis import check_synthesis, write_synthesis

        how = synthesis.how(scenario)
        check_synthesis(scenario, path, file)
        write_synthesis(scenario, path, synthesis.length_days, how, synthesis.seed or 0, as_json)
        return 0
    check_outputs({"--plot": plot}, scenario, file, *(events or ()))
    found = measured_from(scenario, events, robust)
    from .texts.timing import print_timing, timing_report

    with told_after(lambda: print_json(timing_report(found)) if as_json else print_timing(found)):
        if plot:
            from ..plots.pages.timing import save_timing

            save_timing(plot, found)
    return 0


def observing_of(
    scenario: Scenario, campaign: bool, noise_s: float | None, night_noise_s: float | None, **how: Any
) -> Observing:
    """As the options say, the usual where one is None; noise on the nights of [campaign] is its own."""
    from ..observing.synthetic_times import Observing

    how = {name: value for name, value in how.items() if value is not None}
    if noise_s is None:
        noise_s = scenario.campaign.mid_time_sigma_s if campaign else Observing.noise_s
    if night_noise_s is None:
        night_noise_s = scenario.campaign.night_sigma_s if campaign else Observing.night_noise_s
    return Observing(noise_s=noise_s, night_noise_s=night_noise_s, **how)


def times_from(scenario: Scenario, events: list[str] | None, option: str = "events") -> MidTimes:
    """Read the file of a campaign; option: by which it is named.  Errors: InputError."""
    from ..observing.nights import first_midnight_s
    from ..observing.reference import sky_and_start
    from ..store.mid_times import read_mid_times

    if not events:
        more = ", or see --synthesise" if option == "events" else ""
        raise InputError(f"--{option}", f"no file is given, event times are needed; name a CSV file{more}")
    say_if_cold()
    sky, begun = sky_and_start(scenario)
    return read_mid_times(events, sky.clock, begun.period_h, first_midnight_s(scenario, sky))


def measured_from(scenario: Scenario, events: list[str] | None, robust: bool = False) -> TimingFit:
    """Read the file of a campaign and fit it.  Errors: InputError."""
    from ..observing.event_times import timing_fit

    return timing_fit(scenario, times_from(scenario, events), robust, watch=stages(True))


def measured_beside(
    scenario: Scenario, events: list[str] | None, change: float | None, sigma: float | None
) -> TimingFit | None:
    """The same where event times are named, in place of a change; None where they are not."""
    from ..inference.infer import check_alone

    if not events:
        return None
    check_alone(change, sigma)
    return measured_from(scenario, events)
