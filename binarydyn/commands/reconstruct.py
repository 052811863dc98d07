"""`binarydyn reconstruct`: from measured event times to what happened, by the full two-body motion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer

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
    options: PosteriorOptions,
    as_json: Json = False,
    plot: Plot = "",
    out: Out = "",
) -> int:
    """Weighted draws of beta, sizes, eccentricity, libration and period change from event times and the full motion."""
    from ..store.reconstructed import check_reconstructed_target, write_reconstructed
    from ..store.reconstructed import reconstruct as run
    from .texts.reconstruct import print_reconstructed, reconstructed_report
    from .timing import times_from

    scenario = scenario_of(file)
    check_outputs({"--plot": plot, "--out": out}, scenario, file, *((times,) if times else ()))
    if out:
        check_reconstructed_target(out)
    say_if_cold()
    mids = times_from(scenario, [times] if times else None, "times")
    found = run(scenario, mids, options.draws, options.seed, options.robust, options.beta_at_least)
    with told_after(lambda: print_json(reconstructed_report(found)) if as_json else print_reconstructed(found)):
        if out:
            write_reconstructed(out, found)
        if plot:
            from ..plots.pages.reconstruction import save_reconstruction

            save_reconstruction(plot, found)
    return 0 if found.status == "completed" else 1
