"""`binarydyn predict`: how much the impact changes the orbit period, and what else changes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import InputError
from ..prediction import predict as run
from ..prediction.model_discrepancy import model_error
from ..sampling import Sample
from ..sampling.drawn import doubtful_nominals, members_of
from ..scenario import Scenario
from ..scenario.wording import CAUTION
from ..terminal.options import Count, File, Json, Nominal, Out, Plot, Seed, Table, gathered, scenario_of
from ..terminal.progress import say_if_cold, stages
from ..terminal.tables import check_outputs, print_json, told_after
from .sampled import draw_members, drawn_report, print_drawn
from .texts.budget import plain_budget
from .texts.prediction import plain_prediction, print_prediction

if TYPE_CHECKING:
    from ..ensembles import Backend


@dataclass(frozen=True)
class SampleOptions:
    """What is drawn beside the stated values."""

    nominal: Nominal = False
    sample: Annotated[str, typer.Option("--sample", help="Sampling method: random, sobol or latin.")] = ""
    count: Count = None
    seed: Seed = None
    table: Table = ""
    plot_sample: Annotated[str, typer.Option("--plot-sample", help="Write a figure of the ensemble.")] = ""

    @property
    def given(self) -> list[str]:
        """Options that make no sense where nothing is drawn."""
        values = {f"--{name.replace('_', '-')}": value for name, value in vars(self).items() if name != "nominal"}
        return [name for name, value in values.items() if value not in ("", None)]


@gathered
def predict(
    *,
    file: File = "",
    as_json: Json = False,
    out: Out = "",
    plot: Plot = "",
    plot_aim: Annotated[
        str, typer.Option("--plot-aim", help="Write a figure of the target as seen along the approach.")
    ] = "",
    budget: Annotated[
        bool, typer.Option("--budget", help="Print the energy and angular-momentum budget of the impact.")
    ] = False,
    drawn: SampleOptions,
) -> int:
    """Relax and calibrate, run before, apply the impact, run after, compare; with [sampling], also drawn members."""
    scenario = scenario_of(file)
    outputs = {"--out": out, "--plot": plot, "--plot-aim": plot_aim, "--plot-sample": drawn.plot_sample}
    _check_places(scenario, file, outputs)
    drawing = _drawing(scenario, drawn)
    say_if_cold()
    result = run(scenario, progress=stages())
    if drawing:
        result = replace(result, warnings=result.warnings + doubtful_nominals(scenario))
    members, complete, spread = None, True, {}
    if drawing:
        error = model_error(result, drawing[0].keys)
        members, complete = draw_members(scenario, *drawing)
        spread = drawn_report(members, error)
    with told_after(lambda: _say(result, spread, budget, as_json)):
        if out:
            from ..store import write_prediction

            write_prediction(out, result, members)
        for path, name, subject in (
            (plot, "save_prediction", result),
            (plot_aim, "save_aim", result),
            (drawn.plot_sample, "save_sample", members),
        ):
            if path:
                from .. import plots

                getattr(plots, name)(path, subject)
    worked = result.status in ("completed", "no_impact") and result.period_change_s is not None
    return 130 if not complete else 0 if worked else 1


def _say(result, spread: dict, budget: bool, as_json: bool) -> None:
    """The prediction and what was drawn beside it."""
    if as_json:
        books = {"budget": plain_budget(result.budget())} if budget else {}
        print_json(plain_prediction(result) | spread | books)
        return
    print_prediction(result, budget)
    if spread:
        print_drawn(spread)
    print(CAUTION)


def _drawing(scenario: Scenario, asked: SampleOptions) -> tuple[Sample, Backend] | None:
    """What is to be drawn beside the stated values; None for a scenario without distributions or with --nominal."""
    from ..batch.summary import check_summary
    from ..ensembles import Backend

    is_drawn = bool(scenario.sampling and scenario.sampling.quantities)
    if is_drawn and not asked.nominal:
        sample = Sample.of(scenario, asked.sample or "random", asked.count, asked.seed)
        where = Backend(table=asked.table or "full", chaos=asked.table == "summary")
        if asked.plot_sample:
            from ..plots.pages.sample import check_drawn

            check_drawn(len(sample))
        if where.summary:
            check_summary(members_of(scenario), sample)
        return sample, where
    if asked.given:
        why = "--nominal" if asked.nominal else "a scenario that has no [sampling.quantities]"
        raise InputError(asked.given[0], f"it is given with {why}, allowed is where members are drawn; leave one out")
    return None


def _check_places(scenario: Scenario, file: str, outputs: dict[str, str]) -> None:
    """Refuse files that cannot be written before anything is computed."""
    check_outputs(outputs, scenario, file)
    if outputs["--out"]:
        from ..store import check_target

        check_target(outputs["--out"])
    if outputs["--plot-aim"] and not scenario.impactor:
        raise InputError(
            "--plot-aim", "the scenario has no [impactor], the figure shows its aim; add it or leave it out"
        )
