"""`binarydyn predict`: how much the impact changes the orbit period, and what else changes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import InputError
from ..scenario import Scenario, builtin, load
from ..scenario.wording import CAUTION, of_status, rounded
from ..terminal.progress import say_if_cold, stages
from ..terminal.tables import check_outputs, print_json, print_table, told_after
from .budget import plain_budget, print_budget
from .sampled import draw, drawn_report, print_drawn

if TYPE_CHECKING:
    from ..ensembles import Backend
    from ..sampling import Sample


def predict(
    file: Annotated[
        str, typer.Argument(help="Scenario file (TOML). [default: built-in example]", show_default=False)
    ] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
    out: Annotated[str, typer.Option("--out", help="Write the result to this HDF5 file.")] = "",
    plot: Annotated[str, typer.Option("--plot", help="Write a figure (.png, .pdf or .svg).")] = "",
    plot_aim: Annotated[
        str, typer.Option("--plot-aim", help="Write a figure of the target as seen along the approach.")
    ] = "",
    budget: Annotated[
        bool, typer.Option("--budget", help="Print the energy and angular-momentum budget of the impact.")
    ] = False,
    nominal: Annotated[bool, typer.Option("--nominal", help="Use nominal values only; ignore [sampling].")] = False,
    sample: Annotated[str, typer.Option("--sample", help="Sampling method: random, sobol or latin.")] = "",
    count: Annotated[int | None, typer.Option("--count", help="Number of members. [default: sampling.count]")] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Random seed. [default: sampling.seed]")] = None,
    table: Annotated[
        str, typer.Option("--table", help="Outcomes per member: full, or summary (about 100 times faster).")
    ] = "",
    plot_sample: Annotated[str, typer.Option("--plot-sample", help="Write a figure of the ensemble.")] = "",
) -> int:
    """Relax and calibrate, run before, apply the impact, run after, compare; with [sampling], also drawn members."""
    from ..prediction import predict as run
    from ..prediction.model_discrepancy import model_error
    from ..sampling.drawn import apart

    scenario = load(file) if file else builtin()
    outputs = {"--out": out, "--plot": plot, "--plot-aim": plot_aim, "--plot-sample": plot_sample}
    _check_places(scenario, file, outputs)
    if plot_aim and not scenario.impactor:
        raise InputError(
            "--plot-aim", "the scenario has no [impactor], the figure shows its aim; add it or leave it out"
        )
    drawing = _drawing(scenario, nominal, sample, count, seed, table, plot_sample)
    say_if_cold()
    result = run(scenario, progress=stages())
    if drawing:
        result = replace(result, warnings=result.warnings + apart(scenario))
    drawn, complete, spread = None, True, {}
    if drawing:
        error = model_error(result, drawing[0].keys)
        drawn, complete = draw(scenario, *drawing)
        spread = drawn_report(drawn, error)
    with told_after(lambda: _say(result, spread, budget, as_json)):
        if out:
            from ..store import write_prediction

            write_prediction(out, result, drawn)
        _save_figures(plot, plot_aim, plot_sample, result, drawn)
    measured = result.period_change_s is not None
    if not complete:
        return 130
    return 0 if result.status in ("completed", "no_impact") and measured else 1


def _say(result, spread: dict, budget: bool, as_json: bool) -> None:
    """The prediction and what was drawn beside it."""
    if as_json:
        books = {"budget": plain_budget(result.budget())} if budget else {}
        print_json(_plain(result) | spread | books)
        return
    _print(result, budget)
    if spread:
        print_drawn(spread)
    print(CAUTION)


def _save_figures(plot: str, plot_aim: str, plot_sample: str, result, drawn) -> None:
    for path, name, subject in (
        (plot, "save_prediction", result),
        (plot_aim, "save_aim", result),
        (plot_sample, "save_sample", drawn),
    ):
        if path:
            from .. import plots

            getattr(plots, name)(path, subject)


def _drawing(
    scenario: Scenario, nominal: bool, kind: str, count: int | None, seed: int | None, table: str, figure: str
) -> tuple[Sample, Backend] | None:
    """What is to be drawn beside the stated values; None for a scenario without distributions or with --nominal."""
    from ..batch.summary import check_summary
    from ..ensembles import Backend
    from ..sampling import Sample
    from ..sampling.drawn import members_of

    options = (("--sample", kind), ("--count", count), ("--seed", seed), ("--table", table), ("--plot-sample", figure))
    given = [name for name, value in options if value not in ("", None)]
    is_drawn = bool(scenario.sampling and scenario.sampling.quantities)
    if is_drawn and not nominal:
        sample = Sample.of(scenario, kind or "random", count, seed)
        where = Backend(table=table or "full", chaos=table == "summary")
        if figure:
            from ..plots.pages.sample import check_drawn

            check_drawn(len(sample))
        if where.summary:
            check_summary(members_of(scenario), sample)
        return sample, where
    if given:
        why = "--nominal" if nominal else "a scenario that has no [sampling.quantities]"
        raise InputError(given[0], f"it is given with {why}, allowed is where members are drawn; leave one out")
    return None


def _check_places(scenario: Scenario, file: str, outputs: dict[str, str]) -> None:
    """Refuse files that cannot be written before anything is computed."""
    check_outputs(outputs, scenario, file)
    if outputs["--out"]:
        from ..store import check_target

        check_target(outputs["--out"])


def _plain(result) -> dict:
    """The JSON object: the flat table, the other estimators, the closed forms, the start, what was asked."""
    begun = result.start
    return {
        **result.numbers(),
        "period_changes_by_estimator_s": result.period_changes_s(),
        "analytic_period_changes_s": {
            k: v if math.isfinite(v) else None for k, v in result.analytic_changes_s().items()
        },
        "calibration": {
            "solved_for": begun.solved_for,
            "mass_factor": begun.mass_factor,
            "separation_m": begun.separation_m,
            "period_h": begun.period_h,
            "relative_residual": begun.residual,
        },
        "free_modes_before": [
            {
                "name": m.name,
                "period_h": m.period_h if math.isfinite(m.period_h) else None,
                "growth_per_orbit": m.growth_per_orbit,
            }
            for m in begun.modes
        ],
        "bodies": [_body(name, getattr(begun.system, name)) for name in ("primary", "secondary")],
        "scenario": result.scenario.name,
        "scenario_sha256": result.scenario.sha256,
        "warnings": list(result.warnings),
        "caution": CAUTION,
    }


def _body(name: str, body) -> dict:
    """Where the principal frame lies in the one given: x_principal = axes (x_given - centre_m)."""
    return {
        "name": name,
        "mass_kg": body.mass_kg,
        "density_kg_m3": body.density_kg_m3,
        "inertia_kg_m2": body.inertia_kg_m2.tolist(),
        "axes": body.axes.tolist(),
        "centre_m": body.centre_m.tolist(),
    }


_LINES = (
    ("orbit period", "h", "period_before_h", "period_after_h", ".6f"),
    ("eccentricity", "", "eccentricity_before", "eccentricity_after", ".5f"),
    ("mean separation", "m", "separation_before_m", "separation_after_m", ".2f"),
    ("maximum libration angle", "deg", "libration_max_before_deg", "libration_max_after_deg", ".3f"),
    (
        "single-orbit period scatter",
        "s",
        "single_orbit_period_scatter_before_s",
        "single_orbit_period_scatter_after_s",
        ".2f",
    ),
    ("apsidal precession rate", "deg/day", None, "apsidal_precession_after_deg_day", ".3f"),
    ("nodal precession rate", "deg/day", None, "nodal_precession_after_deg_day", ".3f"),
    ("inclination to the total angular momentum", "deg", None, "inclination_after_deg", ".3f"),
    ("orbit plane change at the impact", "deg", None, "orbit_plane_change_deg", ".3f"),
    ("tilt of the total angular momentum", "deg", None, "angular_momentum_tilt_deg", ".3f"),
    ("maximum roll", "deg", None, "roll_max_after_deg", ".3f"),
    ("maximum pitch", "deg", None, "pitch_max_after_deg", ".3f"),
)


def _print(result, budget: bool = False) -> None:
    n = result.numbers()
    print(f"{result.scenario.name or 'scenario'} ({result.scenario.place}){of_status(n['status'])}")
    if n["status"] == "miss":
        print(f"no impact, so nothing changes: {result.impact.reason}")
        for sentence in result.warnings:
            print(f"warning: {sentence}")
        return
    if n["period_change_s"] is not None:
        print(_headline(n))
    for line in _share_lines(result, n):
        print(line)
    if n["model_error_s"] is not None:
        print(
            f"gravity truncation: the next degree after {n['degree']} changes the result by {n['model_error_s']:+.3f} s"
        )
    velocity_change = ", ".join(
        f"{axis.replace('_', '-')} {n[f'{axis}_dv_mm_s']:+z.4f}" for axis in ("along_track", "radial", "normal")
    )
    print(f"velocity change (mm/s): {velocity_change}; tumbling afterwards: {_yes(n['tumbling'])}")
    for line in _hit_lines(n):
        print(line)
    print()
    rows = [(name, unit, _number(n.get(a), f"z{form}"), _number(n[b], f"z{form}")) for name, unit, a, b, form in _LINES]
    print_table(("", "unit", "before", "after"), rows)
    print()
    rows = [(name, "simulated", f"{value:+z.3f}") for name, value in result.period_changes_s().items()]
    rows += [(name, "closed form", _number(value, "+z.3f")) for name, value in result.analytic_changes_s().items()]
    print_table(("period change by", "method", "s"), rows)
    print(
        f"\nrelative energy error {_number(n['relative_energy_error'], '.1e')}, "
        f"relative angular-momentum error {_number(n['relative_angular_momentum_error'], '.1e')}, "
        f"densities {n['primary_density_kg_m3']:.1f} and {n['secondary_density_kg_m3']:.1f} kg/m3 "
        f"({result.start.solved_for} calibrated)"
    )
    if budget:
        print_budget(result.budget())
    print(_divergence(n))
    for sentence in result.warnings:
        print(f"warning: {sentence}")


def _headline(n: dict) -> str:
    """The period change and its error: of the fit, on a mesh with that of the ground's slope."""
    change, error = n["period_change_s"], f"fit error {rounded(n['period_change_fit_error_s'], 1)} s"
    if ground := n["period_change_ground_error_s"]:
        both = math.hypot(n["period_change_fit_error_s"], ground)
        error = f"error {rounded(both, 2)} s: {error}, slope of the ground {rounded(ground, 2)} s"
    return f"period change {change:+z.3f} s = {change / 60:+z.4f} min ({n['estimator']}, {error})"


def _divergence(n: dict) -> str:
    """How far neighbouring trajectories part in both windows, and whether that is regular."""
    from ..observables.chaos import TWIST_RAD, UNSTABLE

    spread = n["period_change_neighbour_sd_s"]
    said = [
        f"{n[f'divergence_factor_{side}']:.3g} {side} ({'chaotic' if n[f'chaotic_{side}'] else 'regular'})"
        for side in ("before", "after")
    ]
    return (
        f"neighbouring trajectories, {TWIST_RAD:g} rad beside at t0, diverge by a factor of {' and '.join(said)}; "
        f"chaotic is beyond {UNSTABLE:g} in 60 days; their period changes have a standard deviation of "
        f"{'-' if spread is None else rounded(spread, 2)} s"
    )


def _share_lines(result, n: dict) -> list[str]:
    """The new shapes, and what they and the velocity change each have of the change; nothing where none changes."""
    lines, new = [], result.impact.system
    if result.shares:
        for name in ("primary", "secondary"):
            if getattr(new, name) is not getattr(result.start.system, name):
                axes = " x ".join(f"{axis:.2f}" for axis in getattr(new, name).semi_axes_m)
                lines.append(f"{name} reshaped to semi-axes of {axes} m")
        if result.shares.interaction_s is not None:
            lines.append(
                f"reshaping alone {n['period_change_reshaping_s']:+.3f} s; velocity change at the new shape "
                f"{n['period_change_dv_s']:+.3f} s; interaction {n['period_change_interaction_s']:+.3f} s"
            )
    return lines


def _hit_lines(n: dict) -> list[str]:
    """The site, both betas, and what a material says of its crater; nothing without an impact."""
    if n["beta"] is None:
        return []
    betas = f"beta {n['beta']:.4g}, system beta {n['beta_system']:.4g}"
    if n["beta_low"] is not None:
        betas = betas.replace(",", f" (68 %: {n['beta_low']:.4g} to {n['beta_high']:.4g}),", 1)
    lines = [
        f"impact site: longitude {n['site_longitude_deg']:.2f}, latitude {n['site_latitude_deg']:+.2f} deg; incidence "
        f"angle "
        f"{n['incidence_deg']:.1f} deg; {betas}; barycentre dv {n['barycentre_dv_mm_s']:.4g} mm/s"
    ]
    if n["normal_radius_m"]:
        lines.append(f"surface normal: mean of the ground within {n['normal_radius_m']:.3g} m of the site")
    if n["crater_radius_m"] is not None:
        lines.append(
            f"crater radius {n['crater_radius_m']:.3g} m ({n['crater_regime']} regime); ejecta "
            f"{n['ejecta_mass_kg']:.4g} kg: "
            f"{n['mass_captured_kg']:.4g} fall back, {n['mass_kept_system_kg']:.4g} stay in the system, "
            f"{n['mass_lost_system_kg']:.4g} escape; cone factor {math.cos(math.radians(n['cone_half_angle_deg'])):.3g}"
        )
    return lines


def _number(value, form: str) -> str:
    return "-" if value is None or not math.isfinite(value) else format(value, form)


def _yes(value) -> str:
    return "unknown" if value is None else "yes" if value else "no"
