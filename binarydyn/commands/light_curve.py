"""`binarydyn light-curve`: how bright the system is against time, before and after the impact, with synthetic noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..errors import InputError
from ..scenario.wording import CAUTION, of_status
from ..terminal.options import Csv, File, Json, Law, Plot, gathered, scenario_of
from ..terminal.progress import say_if_cold
from ..terminal.tables import check_outputs, print_json, print_table, told_after

if TYPE_CHECKING:
    from ..observing.light_curve import Photometry
    from ..observing.synthetic_light import Photometer


@dataclass(frozen=True)
class EpochOptions:
    """When and how well it is seen."""

    from_days: Annotated[float, typer.Option("--from-days", help="Start, days from the impact.")] = -1.0
    days: Annotated[float, typer.Option("--days", help="Duration in days.")] = 2.0
    step_minutes: Annotated[float, typer.Option("--step-minutes", help="Sampling interval in minutes.")] = 5.0
    noise_mag: Annotated[
        float | None,
        typer.Option(
            "--noise-mag", help="1-sigma photometric noise. [default: 0; --synthesise: 0.01]", show_default=False
        ),
    ] = None
    seed: Annotated[int, typer.Option("--seed", help="Random seed of the noise.")] = 0


@dataclass(frozen=True)
class SurfaceOptions:
    """What a Surface is made of."""

    law: Law = "lommel_seeliger"
    phase_law: Annotated[str, typer.Option("--phase-law", help="Phase function: none or linear_exponential.")] = "none"
    albedo_ratio: Annotated[
        float, typer.Option("--albedo-ratio", help="Albedo of the secondary over the primary's.")
    ] = 1.0
    facets: Annotated[int, typer.Option("--facets", help="Facets per ellipsoid (meshes keep theirs).")] = 2000


@dataclass(frozen=True)
class MeasuringOptions:
    """What --synthesise writes, beside the noise."""

    synthesise: Annotated[
        str | None,
        typer.Option("--synthesise", help="Write simulated measurements in the nights of [campaign] to this CSV file."),
    ] = None
    red_noise_mag: Annotated[
        float, typer.Option("--red-noise-mag", help="With --synthesise: standard deviation of red noise.")
    ] = 0.0
    red_noise_minutes: Annotated[
        float, typer.Option("--red-noise-minutes", help="With --synthesise: its e-folding time in minutes.")
    ] = 30.0
    zero_point_mag: Annotated[
        float,
        typer.Option("--zero-point-mag", help="With --synthesise: standard deviation of zero points, night by night."),
    ] = 0.05
    filters: Annotated[
        str, typer.Option("--filters", help="With --synthesise: names of filters, parted by commas, used in turn.")
    ] = "clear"

    def how(self, epochs: EpochOptions) -> Photometer:
        """As the options say."""
        from ..observing.synthetic_light import Photometer

        white = Photometer.noise_mag if epochs.noise_mag is None else epochs.noise_mag
        red, minutes, names = self.red_noise_mag, self.red_noise_minutes, tuple(map(str.strip, self.filters.split(",")))
        return Photometer(epochs.step_minutes, white, red, minutes, self.zero_point_mag, names)


@gathered
def light_curve(
    *,
    file: File = "",
    epochs: EpochOptions,
    surface: SurfaceOptions,
    as_json: Json = False,
    csv_file: Csv = "",
    plot: Plot = "",
    measuring: MeasuringOptions,
) -> int:
    """Magnitudes of the system in UTC with light time, 0 at the mean flux, and the mutual events that they show."""
    from ..observing.light_curve import Surface
    from ..observing.light_curve import light_curve as run
    from ..observing.light_curve_rows import curve_rows, curve_summary, events_in_curve

    scenario = scenario_of(file)
    of_both = Surface(**vars(surface))
    if measuring.synthesise is not None:
        for name, given in (("--csv", csv_file), ("--plot", plot)):
            if given:
                raise InputError("--synthesise", f"it is given with {name}, allowed is one of them; leave one out")
        from .texts.light_synthesis import check_light_synthesis, write_light_synthesis

        how, window = measuring.how(epochs), (epochs.from_days, epochs.days)
        check_light_synthesis(scenario, measuring.synthesise, file)
        write_light_synthesis(scenario, measuring.synthesise, window, how, of_both, epochs.seed, as_json)
        return 0
    check_outputs({"--csv": csv_file, "--plot": plot}, scenario, file)
    if csv_file:
        from ..files.csv_tables import LIGHT_CURVE, check_csv

        check_csv(csv_file, LIGHT_CURVE)
    say_if_cold()
    found = run(scenario, **vars(epochs) | {"noise_mag": epochs.noise_mag or 0.0}, surface=of_both)
    whole, events = curve_summary(found), events_in_curve(found)
    head = {"scenario": scenario.name, "scenario_sha256": scenario.sha256}
    more = {"epochs_seen": curve_rows(found), "events": events, "warnings": list(found.warnings), "caution": CAUTION}
    with told_after(lambda: print_json(head | whole | more) if as_json else _print(found, whole, events)):
        if csv_file:
            from ..files.csv_tables import LIGHT_CURVE, write_rows

            write_rows(csv_file, LIGHT_CURVE, curve_rows(found))
        if plot:
            from ..plots.pages.light_curve import save_light_curve

            save_light_curve(plot, found)
    return 0 if found.status == "completed" else 1


def _print(found: Photometry, whole: dict[str, Any], events: list[dict[str, Any]]) -> None:
    w = whole
    scenario, curve = found.scenario, found.curve
    first, last = found.sky.clock.utc((curve.time_s + curve.light_time_s)[[0, -1]])
    print(
        f"{scenario.name or 'scenario'} ({scenario.place}){of_status(w['status'])}\n"
        f"t0 {w['impact_epoch_utc']} UTC at the system; {w['epochs']} epochs seen {first} to {last}\n"
        f"phase angle {w['phase_angle_least_deg']:.2f} to {w['phase_angle_greatest_deg']:.2f} deg\n"
        f"{w['law_in_words']}; {w['phase_law_in_words']}\n"
        f"magnitudes {w['brightest_mag']:+.4f} to {w['faintest_mag']:+.4f}, 0 is the mean flux, without distances"
    )
    print(f"noise: {w['noise_mag']:g} mag, seed {w['seed']}\n" if w["noise_mag"] else "noise: none\n")
    cells = [
        (
            row["mid_utc"][:19].replace("T", " "),
            f"{row['body']} {'eclipsed' if row['kind'] == 'eclipse' else 'occulted'}",
            row["extent"],
            *(row[name][11:19] if row[name] else "-" for name in ("first_utc", "last_utc")),
            f"{row['depth_mag']:.4f}",
        )
        for row in events
    ]
    if cells:
        print_table(("mid-time (UTC)", "event", "type", "begin", "end", "depth, mag"), cells)
        print("tabulated depths assume uniform discs; the curve does not")
    else:
        print("no mutual event in this interval")
    for sentence in found.warnings:
        print(f"warning: {sentence}")
    print(CAUTION)
