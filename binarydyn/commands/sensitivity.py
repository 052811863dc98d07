"""`binarydyn sensitivity`: whose uncertainty the period change has, and whose an inferred beta."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..prediction.outcomes import OUTCOMES
from ..scenario import Scenario, load
from ..scenario.tables.sampling import check_seed
from ..scenario.wording import CAUTION
from ..terminal.options import Events, Json, PeriodChange, Plot, Runs, Sampled, Seed, Sigma
from ..terminal.progress import say_if_cold
from ..terminal.tables import check_outputs, print_json, print_table, told_after
from ..units import unit_of
from .timing import measured_beside

if TYPE_CHECKING:
    from ..inference.sensitivity import ErrorBudget


def sensitivity(
    file: Sampled,
    period_change_s: PeriodChange = None,
    sigma_s: Sigma = None,
    events: Events = None,
    count: Annotated[int, typer.Option("--count", help="Sample size per Sobol index, a power of 2.")] = 8192,
    seed: Seed = None,
    runs: Runs = None,
    as_json: Json = False,
    plot: Plot = "",
) -> int:
    """First-order and total Sobol indices of every input: of the period change, and of beta where one was measured."""
    from ..inference.response import check_prediction
    from ..inference.sobol_indices import check_points

    scenario = load(file)
    check_outputs({"--plot": plot}, scenario, file, *(events or ()))
    measured, doubts = _measured(scenario, period_change_s, sigma_s, events)
    check_prediction(scenario, runs, 1 if measured else 0)
    check_points(count)
    check_seed(seed)
    say_if_cold()
    found: list[ErrorBudget] = []
    with told_after(lambda: _say(scenario, found, measured, as_json)):
        for budget in _budgets(scenario, measured, count, seed, runs):
            if measured and budget.part == "inference":
                budget = replace(budget, warnings=(*doubts, *budget.warnings))
            found.append(budget)
        if plot:
            from ..plots.pages.error_bars import save_sensitivity

            save_sensitivity(plot, scenario.name, found)
    return 0


def _say(scenario: Scenario, found: list[ErrorBudget], measured: tuple[float, float] | None, as_json: bool) -> None:
    """What was computed, also where the next table failed; JSON only of all."""
    if as_json:
        if len(found) == 1 + bool(measured):
            print_json(_report(scenario, found, measured))
        return
    for budget in found:
        if measured and budget.part == "inference":
            print(f"measured period change {measured[0]:+.2f} +- {measured[1]:.2f} s")
        _print(budget, scenario)
    if found:
        print(CAUTION)


def _measured(
    scenario: Scenario, change: float | None, sigma: float | None, events: list[str] | None
) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    """Change and sigma, None where nothing gives them, with the fit's warnings; what cannot be one is refused."""
    from ..inference.infer import check_measured, measurement

    if change is None and sigma is None and scenario.observed is None and not events:
        return None, ()
    campaign = measured_beside(scenario, events, change, sigma)
    change_s, sigma_s, doubts = measurement(scenario, change, sigma, campaign)
    check_measured(scenario, change_s, sigma_s)
    return (change_s, sigma_s), doubts


def _budgets(scenario: Scenario, measured: tuple[float, float] | None, count, seed, runs) -> Iterator[ErrorBudget]:
    """Of the prediction, and of what is inferred where a change was measured."""
    from ..inference.sensitivity import of_inference, of_prediction

    yield of_prediction(scenario, count, seed, runs)
    if measured:
        yield of_inference(scenario, *measured, count, seed, runs)


def _report(scenario: Scenario, found: list[ErrorBudget], measured: tuple[float, float] | None) -> dict[str, Any]:
    """The JSON object."""
    parts = {budget.part: _plain(budget) for budget in found}
    change = {"period_change_s": measured[0], "sigma_s": measured[1]} if measured else None
    head = {"scenario": scenario.name, "scenario_sha256": scenario.sha256, "measured": change}
    return head | {"prediction": None, "inference": None} | parts | {"caution": CAUTION}


def _plain(budget: ErrorBudget) -> dict[str, Any]:
    i = budget.indices
    rows = []
    for k, name in enumerate(i.names):
        row: dict[str, Any] = {"input": name, "unit": unit_of(name)}
        for word, index in (("first_order", i.first_order), ("total", i.total)):
            row |= {
                word: float(index.value[k]),
                f"{word}_sigma": float(index.sigma[k]),
                f"{word}_low_95": float(index.low_95[k]),
                f"{word}_high_95": float(index.high_95[k]),
            }
        rows.append(row | {"correlated": name in i.correlated})
    return {
        "outcome": budget.outcome,
        "mean": budget.mean,
        "sigma": budget.sigma,
        "points": i.count,
        "simulations": budget.runs,
        "simulations_left_out": budget.left_out,
        "simulations_chaotic": budget.chaotic,
        "emulator_error_share": budget.error_share,
        "inputs": rows,
        "warnings": list(budget.warnings),
    }


def _print(budget: ErrorBudget, scenario: Scenario) -> None:
    row, form, i = OUTCOMES[budget.outcome], budget.form.lstrip("+"), budget.indices
    mean, sigma = (f"{value:{form}} {row.unit}".rstrip() for value in (budget.mean, budget.sigma))
    print(
        f"{scenario.name or 'scenario'} ({scenario.place})\n"
        f"{budget.part}: {row.label}, mean {mean}, SD {sigma}; emulator error "
        f"{100.0 * budget.error_share:.2g} % of variance (leave-one-out, {budget.runs} simulations)"
    )
    cells = []
    for k in budget.order():
        pairs = ((index.value[k], index.sigma[k]) for index in (i.first_order, i.total))
        cells.append((i.names[k], *(text for value, sigma in pairs for text in (f"{value:.3f}", f"{sigma:.3f}"))))
    print_table(("input", "first order", "+-", "total", "+-"), cells)
    if not i.correlated:
        whole, error = i.first_order.value.sum(), (i.first_order.sigma**2).sum() ** 0.5
        print(f"first orders add up to {whole:.3f} +- {error:.3f}; what lacks to 1 is what inputs do together")
    for sentence in budget.warnings:
        print(f"warning: {sentence}")
    print()
