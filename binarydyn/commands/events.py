"""`binarydyn events`: when the bodies eclipse and hide each other, before and after the impact, as it is seen."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..errors import InputError
from ..scenario import Scenario
from ..scenario.wording import CAUTION, of_status
from ..sky.dip_causes import BOTH
from ..terminal.options import Csv, File, Json, Nominal, Out, Plot, scenario_of
from ..terminal.progress import say_if_cold
from ..terminal.tables import check_outputs, print_json, print_table, told_after
from .texts.timing import DIMMED

if TYPE_CHECKING:
    from ..observing.timetable import Timetable
    from ..sampling import Sample


def events(
    file: File = "",
    days: Annotated[float, typer.Option("--days", help="Days before and after the impact.")] = 14.0,
    as_json: Json = False,
    csv_file: Csv = "",
    plot: Plot = "",
    out: Out = "",
    members: Annotated[
        int | None,
        typer.Option(
            "--members", help="Members used to estimate uncertainties. [default: 32 or more, by the number of inputs]"
        ),
    ] = None,
    nominal: Nominal = False,
) -> int:
    """Timetable of mutual events in UTC with light time, and how far those after the impact shift away.

    With [sampling], also the predicted sigma of each mid-time and of the time shift.
    """
    from ..observing.timetable import timetable
    from ..observing.timetable_rows import COLUMNS, event_summary, rows

    scenario = scenario_of(file)
    _check_places(scenario, file, csv_file, plot, out)
    drawing = _drawing(scenario, members, nominal)
    say_if_cold()
    table = timetable(scenario, days)
    if drawing:
        from ..observing.timetable_sigmas import with_sigmas

        table = with_sigmas(table, drawing)
    found, whole = rows(table), event_summary(table)
    with told_after(lambda: print_json(_report(table, whole, found)) if as_json else _print(table, whole, found)):
        if csv_file:
            from ..files.csv_tables import TIMETABLE, write_rows

            write_rows(csv_file, TIMETABLE, found, COLUMNS)
        if out:
            from ..store import Events, save

            save(out, Events.of(table))
        if plot:
            from ..plots import save_timetable

            save_timetable(plot, table)
    return 0 if table.status == "completed" else 1


def _drawing(scenario: Scenario, members: int | None, nominal: bool) -> Sample | None:
    """The sample behind the sigmas; None for a scenario without distributions or with --nominal."""
    from ..observing.timetable_sigmas import COUNT, check_members, least_count
    from ..sampling import Sample

    if nominal or not (scenario.sampling and scenario.sampling.quantities):
        if members is not None:
            why = "--nominal" if nominal else "a scenario that has no [sampling.quantities]"
            raise InputError("--members", f"it is given with {why}, allowed is where members are drawn; leave one out")
        return None
    sample = Sample.of(scenario, "random", COUNT)
    count = max(COUNT, least_count(sample)) if members is None else members
    check_members(sample, count)
    return replace(sample, count=count)


def _check_places(scenario: Scenario, file: str, csv_file: str, plot: str, out: str) -> None:
    """Refuse files that cannot be written before anything is computed."""
    check_outputs({"--csv": csv_file, "--plot": plot, "--out": out}, scenario, file)
    if csv_file:
        from ..files.csv_tables import TIMETABLE, check_csv

        check_csv(csv_file, TIMETABLE)
    if out:
        from ..store.event_table import check_events_target

        check_events_target(out)


def _report(table: Timetable, whole: dict[str, Any], found: list[dict[str, Any]]) -> dict[str, Any]:
    from ..observing.timetable_rows import without_conjunction

    return whole | {
        "without_conjunction": without_conjunction(table),
        "sigma_members": table.sigma_members,
        "scenario": table.scenario.name,
        "scenario_sha256": table.scenario.sha256,
        "ephemerides": [
            {
                "kind": line.kind,
                "body": line.body,
                "reference_utc": table.sky.clock.utc(line.zero_s)[0],
                "synodic_period_h": line.spacing_s / 3600.0,
                "scatter_s": line.scatter_s,
                "events": line.count,
            }
            for line in table.ephemerides
        ],
        "nights": [asdict(night) for night in table.nights()],
        "events": found,
        "warnings": list(table.warnings),
        "caution": CAUTION,
    }


def _print(table: Timetable, whole: dict[str, Any], found: list[dict[str, Any]]) -> None:
    from ..observing.timetable_rows import period_words, without_conjunction

    w = whole
    print(f"{table.scenario.name or 'scenario'} ({table.scenario.place}){of_status(w['status'])}")
    print(
        f"t0 {w['impact_epoch_utc']} UTC at the system, seen {w['impact_seen_utc']} "
        f"(light time {w['light_time_s']:.2f} s)\n"
        f"phase angle {w['phase_angle_deg']:.2f} deg; from the orbit's pole: observer {w['aspect_deg']:.2f}, "
        f"Sun {w['solar_aspect_deg']:.2f} deg; {w['sun_distance_au']:.4f} au from the Sun, "
        f"{w['observer_distance_au']:.4f} au from the observer\n"
        f"{period_words(table, '.6f')}\n"
    )
    head: tuple[str, ...] = (
        "mid-time (UTC)",
        "cycle",
        "event",
        "type",
        "begin",
        "end",
        "duration, min",
        "depth, mag",
        "time shift, min",
    )
    head += ("O-C, min", "dip (UTC)", "by law, s")
    shown = [row for row in found if row["extent"] != "absent"]
    cells = [_cells(row) for row in shown]
    if any(row["mid_time_sigma_s"] is not None for row in shown):
        head += ("sigma, min", "sigma of time shift, min")
        sigmas = [
            tuple(_text(row[name], ".3f", 60.0) for name in ("mid_time_sigma_s", "shift_sigma_s")) for row in shown
        ]
        cells = [one + two for one, two in zip(cells, sigmas, strict=True)]
    if shown:
        print_table(head, cells)
    for sentence in (*_about_dips(found), *_absent(found), *without_conjunction(table)):
        print(sentence)
    if table.sigma_members is not None:
        print(f"sigma: from {table.sigma_members} members of [sampling]")
    _print_lines(table)
    for sentence in table.warnings:
        print(f"warning: {sentence}")
    print(CAUTION)


def _cells(row: dict[str, Any]) -> tuple[str, ...]:
    first, last = (row[name][11:19] if row[name] else "-" for name in ("contact1_utc", "contact4_utc"))
    return (
        row["mid_utc"][:19].replace("T", " "),
        f"{row['cycle']:+d}" if row["side"] == "before" else f"{row['cycle']:d}",
        f"{row['body']} {DIMMED[row['kind']]}",
        row["extent"],
        first,
        last,
        _text(row["duration_minutes"], ".1f"),
        f"{row['depth_mag']:.4f}",
        _text(row["shift_s"], "+.2f", 60.0),
        _text(row["o_minus_c_s"], "+.2f", 60.0),
        row["dip_mid_utc"][11:19] if row["dip_mid_utc"] else "-",
        _text(row["dip_law_spread_s"], "+.0f"),
    )


def _about_dips(found: list[dict[str, Any]]) -> list[str]:
    """What the columns of the dip are, and whether two rows may share one."""
    kinds = [row["dip_kind"] for row in found if row["dip_kind"]]
    if not kinds:
        return []
    said = [
        "mid-time: halfway between first and last contact; dip: centroid of the light that is missing, the mean of two"
    ]
    said += ["scattering laws; by law: Lambert's centroid less Lommel-Seeliger's"]
    if BOTH in kinds:
        said += ["eclipsed and occulted: at once, so that it is one event with one dip; begin and end are of the whole"]
    return said


def _absent(found: list[dict[str, Any]]) -> list[str]:
    """What does not take place, by kind."""
    said = []
    for kind, body in dict.fromkeys((row["kind"], row["body"]) for row in found if row["kind"] != BOTH):
        same = [row for row in found if row["kind"] in (kind, BOTH) and row["body"] == body]
        missing = [row["miss_m"] for row in same if row["extent"] == "absent"]
        if missing:
            said.append(
                f"{kind} of the {body}: absent in {len(missing)} of {len(same)} conjunctions (gap "
                f"{min(missing):.1f} to {max(missing):.1f} m)"
            )
    return said


def _print_lines(table: Timetable) -> None:
    if table.ephemerides:
        print()
        head = ("linear ephemeris before t0", "events", "T0 (UTC)", "period, h", "RMS, s")
        cells = [
            (
                f"{line.body} {DIMMED[line.kind]}",
                str(line.count),
                table.sky.clock.utc(line.zero_s)[0],
                f"{line.spacing_s / 3600.0:.6f}",
                f"{line.scatter_s:.2f}",
            )
            for line in table.ephemerides
        ]
        print_table(head, cells)
    if nights := table.nights():
        print()
        cells = [
            (
                night.date_utc,
                str(night.events),
                _text(night.shift_s, "+.2f", 60.0),
                _text(night.o_minus_c_s, "+.2f", 60.0),
                _text(night.shift_sigma_s, ".3f", 60.0),
            )
            for night in nights
        ]
        head = ("night (UTC)", "events", "mean time shift, min", "mean O-C, min", "sigma of time shift, min")
        has_sigma = any(night.shift_sigma_s is not None for night in nights)
        print_table(head if has_sigma else head[:4], cells if has_sigma else [row[:4] for row in cells])


def _text(value: float | None, form: str, unit: float = 1.0) -> str:
    return "-" if value is None else format(value / unit, form)
