"""`binarydyn show`: what is in a result file, and where it comes from."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
import typer

from ..errors import InputError
from ..prediction.outcomes import OUTCOMES
from ..scenario.wording import CAUTION, counted, of_status, one_line
from ..terminal.options import Json, Plot
from ..terminal.tables import check_outputs, print_json, print_table
from .sampled import print_sampled, sampled

if TYPE_CHECKING:
    from ..store import Members, Result


def show(
    file: Annotated[str, typer.Argument(help="Result file (HDF5) of predict, sweep, events or reconstruct --out.")],
    as_json: Json = False,
    plot: Plot = "",
) -> None:
    """Print a stored prediction, sweep, timetable or reconstruction with its provenance."""
    from ..store import open_result
    from ..store.reconstructed import stored_reconstructed
    from .texts.reconstruct import print_reconstructed

    check_outputs({"--plot": plot}, None, file)
    result = open_result(file)
    report = _REPORTS.get(result.kind, _prediction_report)(result)
    report |= {"provenance": {k: v for k, v in result.attributes.items() if k not in ("scenario", "design", "caution")}}
    if plot:
        save_figure(plot, result)
    if as_json:
        print_json(report)
        return
    if result.kind == "reconstruction":
        print_reconstructed(stored_reconstructed(result))
    else:
        {"sweep": print_sweep, "events": _print_events}.get(result.kind, _print_prediction)(report)
    print()
    print_table(("provenance", ""), [(name, str(value)) for name, value in report["provenance"].items()])
    print(CAUTION)


def save_figure(path: str, result: Result) -> None:
    """The figure of a stored result."""
    from .. import plots
    from ..store import stored_members, stored_prediction, word_of

    if result.kind == "events":
        raise InputError(
            "--plot",
            f"{one_line(str(result.path))} holds a {word_of(result.kind)}, allowed is a prediction, a sweep or a "
            "reconstruction; `binarydyn events --plot` draws a timetable",
        )
    if result.kind == "reconstruction":
        from ..plots.pages.reconstruction import save_reconstruction
        from ..store.reconstructed import stored_reconstructed

        save_reconstruction(path, stored_reconstructed(result))
    elif result.kind == "sweep":
        plots.save_sweep(path, stored_members(result))
    else:
        plots.save_prediction(path, stored_prediction(result))


def sweep_report(result: Result) -> dict[str, Any]:
    """What a sweep found, ready for JSON: counts by status, failures by reason, extremes of the change."""
    from ..store import stored_members
    from ..store.tables.failures import failures

    ends, found = failures(result.rows), stored_members(result)
    earliest = {end.status: end.first_reason for end in sorted(ends, key=lambda end: -end.first_member)}
    return {
        "kind": "sweep",
        "file": str(result.path),
        "scenario": result.attributes["scenario_name"],
        "scenario_sha256": result.attributes["scenario_sha256"],
        "members": len(result.rows.members),
        "members_of_design": result.attributes["members"],
        "statuses": result.statuses(),
        "first_reasons": {word: earliest[word] for word in result.statuses() if word != "completed"},
        "failures": [vars(end) for end in ends[:_MOST_FAILURES]],
        "chaotic_before": _count(found, "chaotic_before"),
        "chaotic": _count(found, "chaotic_after"),
        "tumbling": _count(found, "tumbling"),
        "lost_lock": _count(found, "lost_lock_after"),
        "tolerance": result.attributes["tolerance"],
        "varied": {key: values.tolist() for key, values in found.axes.items()} or list(found.keys),
        "period_change_s": _extremes(found),
        **(sampled(found) if found.sample else {}),
        "caution": CAUTION,
    }


def _count(result: Members, flag: str) -> int | None:
    """Members with this flag; None where the table has none of that name."""
    return int((result.columns[flag] == 1).sum()) if flag in result.columns else None


def _extremes(result: Members) -> dict[str, Any] | None:
    """The largest and the smallest effect among the members that ended well, and where; None if there is none."""
    c = result.columns
    if "period_change_s" not in c:
        return None
    well = np.flatnonzero((c["status"] == "completed") & np.isfinite(c["period_change_s"]))
    if not len(well):
        return None
    change = c["period_change_s"][well]
    size = np.abs(change)  # a change has a sign: the most negative one is the largest effect
    ends = {"largest": well[np.argmax(size)], "smallest": well[np.argmin(size)]}
    return {
        name: {"value_s": float(c["period_change_s"][k]), "at": {key: float(c[key][k]) for key in result.keys}}
        for name, k in ends.items()
    }


def print_sweep(report: dict[str, Any]) -> None:
    """The report for a reader."""
    counts = ", ".join(f"{count} {status}" for status, count in report["statuses"].items())
    print(f"{report['scenario'] or 'scenario'}, sweep of {_of_members(report)}: {counts}")
    if "sample" not in report and "completed" in report["statuses"]:
        print(_flagged(report))
    for end in report["failures"][:_FAILURES_TOLD]:
        alike = f" of {end['members']} alike" if end["members"] > 1 else ""
        print(f"first {end['status']}{alike}, member {end['first_member']}: {end['first_reason']}")
    if "sample" in report:
        print_sampled(report)
    elif ends := report["period_change_s"]:
        row = OUTCOMES["period_change_s"]
        rows = [(name, row.text(end["value_s"]), *(f"{x:g}" for x in end["at"].values())) for name, end in ends.items()]
        print_table((row.label, row.unit, *report["varied"]), rows)
    print(f"integrator tolerance {report['tolerance']}")


def _of_members(report: dict[str, Any]) -> str:
    """How many members, of how many where the file holds a part of them."""
    here, whole = report["members"], report["members_of_design"]
    return counted(here, "member") if here == whole else f"{here} of {counted(whole, 'member')}"


_FLAG_WORDS = {"chaotic": "chaotic", "tumbling": "tumbling", "lost_lock": "lost synchronous lock"}


def _flagged(report: dict[str, Any]) -> str:
    """How many members of a grid turn over or are chaotic, in the words of the columns that its table has."""
    said = [f"{report[name]} {_FLAG_WORDS[name]}" for name in _FLAG_WORDS if report[name] is not None]
    if report["chaotic"] is None:
        said.append("chaos not checked (use --chaos)")
    before = report["chaotic_before"]
    first = "" if before is None else f"before the impact: {before} chaotic; "
    return f"{first}after the impact: {', '.join(said)}"


def _prediction_report(result: Result) -> dict[str, Any]:
    from ..store import stored_members

    return {
        "kind": "prediction",
        "file": str(result.path),
        "scenario": result.attributes["scenario_name"],
        "numbers": result.numbers,
        "period_changes_s": result.period_changes_s,
        "start": result.calibration,
        "warnings": list(result.warnings),
        **(sampled(stored_members(result)) | {"statuses": result.statuses()} if result.sample else {}),
        "caution": CAUTION,
    }


def _print_prediction(report: dict[str, Any]) -> None:
    from ..store import long_name_of, unit_of

    row = OUTCOMES["period_change_s"]
    print(f"{report['scenario'] or 'scenario'}, prediction{of_status(report['numbers']['status'])}")
    rows = [(long_name_of(name), unit_of(name), _text(value)) for name, value in report["numbers"].items()]
    rows += [
        (f"{row.label}, {name.replace('_', ' ')}", row.unit, _text(x)) for name, x in report["period_changes_s"].items()
    ]
    rows += [(f"start: {long_name_of(name)}", unit_of(name), _text(value)) for name, value in report["start"].items()]
    print_table(("quantity", "unit", "value"), [(name, "" if unit == "1" else unit, x) for name, unit, x in rows])
    if "sample" in report:
        print()
        print_sampled(report)
    for sentence in report["warnings"]:
        print(f"warning: {sentence}")


def _events_report(result: Result) -> dict[str, Any]:
    columns = {name: values.tolist() for name, values in result.events.items() if name != "number"}
    plain = {name: [None if x != x or x == "" else x for x in values] for name, values in columns.items()}
    return {
        "kind": "events",
        "file": str(result.path),
        "scenario": result.attributes["scenario_name"],
        "events": [dict(zip(plain, row, strict=True)) for row in zip(*plain.values(), strict=True)],
        "caution": CAUTION,
    }


def _reconstruction_report(result: Result) -> dict[str, Any]:
    from ..store.reconstructed import stored_reconstructed
    from .texts.reconstruct import reconstructed_report

    return {"kind": "reconstruction", "file": str(result.path)} | reconstructed_report(stored_reconstructed(result))


def _print_events(report: dict[str, Any]) -> None:
    print(f"{report['scenario'] or 'scenario'}, timetable of {len(report['events'])} conjunctions")
    names = (
        "mid_utc",
        "side",
        "kind",
        "body",
        "extent",
        "duration_minutes",
        "depth_mag",
        "dip_mid_utc",
        "dip_law_spread_s",
        "shift_s",
        "mid_time_sigma_s",
    )
    print_table(names, [[_text(row[name]) for name in names] for row in report["events"]])


_MOST_FAILURES, _FAILURES_TOLD = 50, 8
"""Kinds of failures that are listed in JSON, and printed; members without end may each have a reason of their own."""
_REPORTS = {"sweep": sweep_report, "events": _events_report, "reconstruction": _reconstruction_report}


def _text(value: Any) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.10g}" if isinstance(value, float) else str(value)
