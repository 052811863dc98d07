"""A prediction for JSON and for a reader, as the table of outcomes says."""

from __future__ import annotations

import math
import textwrap
from dataclasses import asdict

from ...observables.chaos import TWIST_RAD, UNSTABLE
from ...prediction.outcome import Group, Outlets
from ...prediction.outcomes import OUTCOMES, shown_in
from ...prediction.predict import MISS
from ...scenario.wording import CAUTION, of_status, rounded
from ...terminal.tables import print_table
from .budget import print_budget

_WIDTH = 100


def plain_prediction(result) -> dict:
    """The JSON object: the flat table, the other estimators, the closed forms, the start, what was asked."""
    begun = result.start
    return {
        **result.numbers(),
        "period_changes_by_estimator_s": result.period_changes_s(),
        "analytic_period_changes_s": result.analytic_changes_s(),
        "betas": [asdict(row) for row in result.betas()],
        "calibration": {
            "solved_for": begun.solved_for,
            "mass_factor": begun.mass_factor,
            "separation_m": begun.separation_m,
            "period_h": begun.period_h,
            "relative_residual": begun.residual,
        },
        "free_modes_before": [
            {"name": m.name, "period_h": m.period_h, "growth_per_orbit": m.growth_per_orbit} for m in begun.modes
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


def print_prediction(result, budget: bool = False) -> None:
    """In the order of outcomes: headline, impact, orbit and attitude, stability, numerics, warnings."""
    n = result.numbers()
    print(f"{result.scenario.name or 'scenario'} ({result.scenario.place}){of_status(n['status'])}")
    if n["status"] == MISS:
        print(f"no impact, so nothing changes: {result.impact.reason}")
    else:
        _print_headline(result, n)
        _print_listed(n, "impact")
        if n["normal_radius_m"]:
            print(f"the normal is the mean of the ground within {_said(n, 'normal_radius_m')} of the site")
        print()
        _print_sides(n)
        print()
        _print_listed(n, "stability")
        print(_divergence(n))
        _print_estimators(result)
        _print_listed(n, "numerics", f"{result.start.solved_for} calibrated")
        if budget:
            print_budget(result.budget())
            _print_betas(result)
    for sentence in result.warnings:
        print(f"warning: {sentence}")


def _said(n: dict, name: str) -> str:
    return OUTCOMES[name].said(n[name])


def _print_listed(n: dict, group: Group, *more: str) -> None:
    """The outcomes of a group that there are, one after the other."""
    there = [row for row in shown_in(Outlets.PRINT, group) if n[row.name] not in (None, "")]
    text = "; ".join((*(f"{row.label[0].lower()}{row.label[1:]} {_said(n, row.name)}" for row in there), *more))
    if text:
        print(textwrap.fill(text[0].upper() + text[1:], _WIDTH))


def _print_sides(n: dict) -> None:
    """Orbit and attitude, before and after the impact."""
    rows = []
    for row in shown_in(Outlets.PRINT, "orbit", "attitude"):
        before = row.text(n.get(row.name_before))
        rows.append((row.label, row.unit, before, row.text(n[row.name])))
    print_table(("", "unit", "before", "after"), rows)


def _print_headline(result, n: dict) -> None:
    if n["period_change_s"] is not None:
        print(_headline(n))
    new, begun = result.impact.system, result.start.system
    for name in ("primary", "secondary"):
        if result.shares and getattr(new, name) is not getattr(begun, name):
            axes = " x ".join(f"{axis:.2f}" for axis in getattr(new, name).semi_axes_m)
            print(f"{name} reshaped to semi-axes of {axes} m")
    _print_listed(n, "headline")


def _headline(n: dict) -> str:
    """The period change and its error: of the fit, on a mesh with that of the ground's slope."""
    row, fit_s = OUTCOMES["period_change_s"], n["period_change_fit_error_s"]
    error = f"fit error {rounded(fit_s, 1)} {row.unit}"
    if ground_s := n["period_change_ground_error_s"]:
        both = rounded(math.hypot(fit_s, ground_s), 2)
        error = f"error {both} {row.unit}: {error}, slope of the ground {rounded(ground_s, 2)} {row.unit}"
    change = n[row.name]
    return f"{row.label} {row.said(change)} = {change / 60:+z.4f} min ({n['estimator']}, {error})"


def _print_estimators(result) -> None:
    row = OUTCOMES["period_change_s"]
    sources = ("simulated", result.period_changes_s()), ("closed form", result.analytic_changes_s())
    rows = [(name, source, row.text(x)) for source, changes in sources for name, x in changes.items()]
    print()
    print_table((f"{row.label} by", "method", row.unit), rows)
    print()


def _print_betas(result) -> None:
    """By every name."""
    rows = [(row.name, row.frame, row.epoch, OUTCOMES["beta"].text(row.value)) for row in result.betas()]
    if rows:
        print_table(("beta by", "velocities from", "counted after", "value"), rows)
        print()


def _divergence(n: dict) -> str:
    """How far neighbouring trajectories part in both windows, and whether that is regular."""
    row = OUTCOMES["period_change_neighbour_sd_s"]
    spread = n[row.name]
    said = [
        f"{_said(n, f'divergence_factor_{side}')} {side} ({'chaotic' if n[f'chaotic_{side}'] else 'regular'})"
        for side in ("before", "after")
    ]
    return (
        f"neighbouring trajectories, {TWIST_RAD:g} rad beside at t0, diverge by a factor of {' and '.join(said)}; "
        f"chaotic is beyond {UNSTABLE:g} in 60 days; their period changes have a standard deviation of "
        f"{'-' if spread is None else rounded(spread, 2)} {row.unit}"
    )
