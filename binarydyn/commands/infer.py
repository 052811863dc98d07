"""`binarydyn infer`: from a measured period change back to the velocity change along the track and to beta."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from ..errors import ConvergenceError
from ..prediction.outcomes import OUTCOMES
from ..scenario import Scenario, load
from ..scenario.wording import CAUTION
from ..terminal.options import Events, Json, PeriodChange, Runs, Sampled, Seed, Sigma
from ..terminal.progress import say_if_cold
from ..terminal.tables import check_outputs, print_json, print_table, told_after
from .timing import measured_beside


def infer(
    file: Sampled,
    period_change_s: PeriodChange = None,
    sigma_s: Sigma = None,
    events: Events = None,
    count: Annotated[int, typer.Option("--count", help="Number of Monte Carlo draws.")] = 10_000,
    seed: Seed = None,
    runs: Runs = None,
    as_json: Json = False,
    plot: Annotated[str, typer.Option("--plot", help="Write a corner plot (.png, .pdf or .svg).")] = "",
) -> int:
    """Posterior of the velocity change and of beta by the emulator of the period change against the velocity change."""
    from ..inference.infer import infer as run
    from ..inference.posterior_report import report

    scenario = load(file)
    check_outputs({"--plot": plot}, scenario, file, *(events or ()))
    campaign = measured_beside(scenario, events, period_change_s, sigma_s)
    say_if_cold()
    posterior = run(scenario, period_change_s, sigma_s, count, seed, runs, events=campaign)
    if not posterior.well.any():
        raise ConvergenceError("no draw has a solution for the measured change; see the aim and [sampling]")
    found, warnings = report(posterior), posterior.warnings
    more = {"scenario": scenario.name, "scenario_sha256": scenario.sha256, "warnings": list(warnings)}
    whole = found | more | {"caution": CAUTION}
    with told_after(lambda: print_json(whole) if as_json else _print(scenario, found, warnings)):
        if plot:
            from ..plots.pages.corner import save_corner

            save_corner(plot, posterior)
    return 0


def _print(scenario: Scenario, found: dict[str, Any], warnings: tuple[str, ...]) -> None:
    print(f"{scenario.name or 'scenario'} ({scenario.place})")
    change = OUTCOMES["period_change_s"].text(found["period_change_s"])
    print(
        f"measured period change {change} +- {found['sigma_s']:.2f} s; emulator error "
        f"{found['emulator_error_s']:.2g} s (leave-one-out, {found['simulations']} simulations)\n"
    )
    head = ("", "unit", "mean", "SD", "median", "68 %", "95 %")
    forms = {"along_track_dv_mm_s": ".4f", "secondary_density_kg_m3": ".0f", "beta": ".3f"}
    rows = [
        (OUTCOMES[name].label, OUTCOMES[name].unit, found[name], form) for name, form in forms.items() if found[name]
    ]
    if found["beta"]:
        names = {
            "normal_centre": "beta along the normal",
            "magnitude_centre": "beta by size",
            "along_track": "net beta",
        }
        rows += [(label, "", found["beta_by_name"][name], ".3f") for name, label in names.items()]
        rows += [(f"beta at {d} kg/m3", "", s, ".3f") for d, s in found["beta_at_density"].items()]
    print_table(head, [_cells(*row) for row in rows])
    if found["beta"]:
        print("fixed density: rescales the secondary's mass only; velocity change, sizes and separation kept")
    if line := found.get("beta_of_density"):
        low, high = line["density_range_kg_m3"]
        print(
            f"\nover the draws, {low:.0f} to {high:.0f} kg/m3 (95 %), all inputs varying: "
            f"beta = {line['slope_at_2400_kg_m3']:.3f} rho/2400 {line['offset']:+.3f}, "
            f"scatter {line['scatter']:.3f}; correlation with the density {line['correlation_with_density']:+.3f}"
        )
    if found["linearised"]:
        _print_derivatives(found["linearised"])
    counted = found["draws_by_status"].get("completed", 0)
    print(f"{counted} of {found['draws']} draws used")
    for sentence in warnings:
        print(f"warning: {sentence}")
    print(CAUTION)


def _print_derivatives(linear: dict[str, Any]) -> None:
    """Which input the width comes from, to first order and by itself."""
    what = "beta" if linear["of"] == "beta" else "the velocity change, mm/s"
    print(f"\nlinear error propagation for {what}: least squares over the draws")
    head = ("input", "value", "SD", "derivative", "+-", "contribution", "% of variance", "alone, %")
    cells = [
        (
            name,
            *(f"{row[key]:.6g}" for key in ("at", "sigma")),
            f"{row['derivative']:+.4g}",
            f"{row['derivative_error']:.1g}",
            f"{row['contribution']:+.4f}",
            *(f"{100.0 * row[key]:.1f}" for key in ("share", "share_by_itself")),
        )
        for name, row in linear["inputs"].items()
    ]
    explained = 100.0 * linear["explained"]
    cells.append(("linear total", "", "", "", "", f"{linear['sigma']:.4f}", f"{explained:.1f}", ""))
    cells.append(("not linear", "", "", "", "", "", f"{100.0 - explained:.1f}", ""))
    print_table(head, cells)
    print("alone: in whatever form, as the first-order index of `sensitivity`")


def _cells(name: str, unit: str, s: dict[str, float], form: str) -> tuple[str, ...]:
    pair = (f"{s[f'low_{p}']:{form}} to {s[f'high_{p}']:{form}}" for p in (68, 95))
    return name, unit, *(format(s[key], form) for key in ("mean", "sigma", "median")), *pair
