"""`binarydyn reconstruct`: from measured event times to what happened, by the full two-body motion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer

from ..errors import InputError
from ..scenario import Scenario
from ..terminal.options import File, Json, Out, Plot, gathered, scenario_of
from ..terminal.progress import say_if_cold
from ..terminal.tables import check_outputs, print_json, told_after


@dataclass(frozen=True)
class PosteriorOptions:
    """How the draws are made, and what is known before."""

    draws: Annotated[int, typer.Option("--draws", help="Weighted draws of the result.")] = 400
    seed: Annotated[int, typer.Option("--seed", help="Random seed.")] = 0
    robust: Annotated[bool, typer.Option("--robust", help="Down-weight outliers (Student's t errors).")] = False
    beta_at_least: Annotated[
        float | None, typer.Option("--beta-at-least", help="Lower bound of beta, as prior knowledge; 1 is common.")
    ] = None


@gathered
def reconstruct(
    *,
    file: File = "",
    times: Annotated[
        str, typer.Option("--times", help="CSV file of measured mid-times (format: `binarydyn timing --help`).")
    ] = "",
    light: Annotated[
        str,
        typer.Option(
            "--light",
            help="CSV file of measured light (seen_utc, magnitude, sigma_mag; see README), beside --times or alone.",
        ),
    ] = "",
    measured: Annotated[
        str,
        typer.Option(
            "--measured",
            help="In place of times: CSV file of published numbers: name, value, sigma; further columns named like "
            "lines hold correlations, or without sigma covariances; lines without a value could be measured too.",
        ),
    ] = "",
    options: PosteriorOptions,
    as_json: Json = False,
    plot: Plot = "",
    out: Out = "",
) -> int:
    """Weighted draws of beta, sizes, eccentricity, libration and period change from event times and the full motion, or
    from published numbers."""
    if measured:
        _check_alone(times, light, options, plot, out)
        return _joint(scenario_of(file), measured, options, as_json)
    from ..store.reconstructed import check_reconstructed_target, write_reconstructed
    from ..store.reconstructed import reconstruct as run
    from .texts.reconstruct import print_reconstructed, reconstructed_report
    from .timing import times_from

    scenario = scenario_of(file)
    if light and options.robust:
        raise InputError("--light", "it is given with --robust, which is for times alone; leave one out")
    check_outputs({"--plot": plot, "--out": out}, scenario, file, *(path for path in (times, light) if path))
    if out:
        check_reconstructed_target(out)
    say_if_cold()
    mids = times_from(scenario, [times] if times else None, "times") if times or not light else None
    found = run(scenario, mids, options.draws, options.seed, options.robust, options.beta_at_least, light or None)
    with told_after(lambda: print_json(reconstructed_report(found)) if as_json else print_reconstructed(found)):
        if out:
            write_reconstructed(out, found)
        if plot:
            from ..plots.pages.reconstruction import save_reconstruction

            save_reconstruction(plot, found)
    return 0 if found.status == "completed" else 1


def _check_alone(times: str, light: str, options: PosteriorOptions, plot: str, out: str) -> None:
    """InputError for what belongs to event times."""
    given = {"--times": times, "--light": light, "--robust": options.robust, "--plot": plot, "--out": out}
    given["--beta-at-least"] = options.beta_at_least is not None
    for name, value in given.items():
        if value:
            raise InputError("--measured", f"it is given with {name}, allowed is one of them; leave one out")


def _joint(scenario: Scenario, path: str, options: PosteriorOptions, as_json: bool) -> int:
    from ..inversion.of_scenario import inverted_of
    from ..store.published_numbers import read_published
    from .texts.joint import joint_report, print_joint

    published = read_published(path)
    say_if_cold()
    found = inverted_of(scenario, published, options.draws, options.seed)
    if as_json:
        print_json(joint_report(scenario, found))
    else:
        print_joint(scenario, found)
    return 1 if found.why_not else 0
