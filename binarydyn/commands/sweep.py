"""`binarydyn sweep`: the same prediction over a grid of any numbers of the scenario, one stored row for each member."""

from __future__ import annotations

import json
import sys
import time
from typing import Annotated

import typer

from ..errors import InputError
from ..scenario import Scenario, builtin, load
from ..scenario.wording import CAUTION, one_line
from .interruption import Interruption
from .progress import watched
from .show import print_sweep, save_figure, sweep_report


def sweep(
    file: Annotated[
        str, typer.Argument(help="Scenario file (TOML); none: the built-in invented pair.", show_default=False)
    ] = "",
    vary: Annotated[
        list[str] | None,
        typer.Option("--vary", help="KEY=LOW:HIGH:COUNT (ends included) or KEY=V1,V2,..; give it again for each axis."),
    ] = None,
    sample: Annotated[
        str, typer.Option("--sample", help="random, sobol or latin: draw members from [sampling] in place of a grid.")
    ] = "",
    count: Annotated[int | None, typer.Option("--count", help="Members to draw; none: sampling.count.")] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Of the draws; none: sampling.seed.")] = None,
    out: Annotated[str, typer.Option("--out", help="Result file (HDF5); the same command again resumes.")] = ...,
    workers: Annotated[int | None, typer.Option("--workers", help="Threads; none: one for each core.")] = None,
    plot: Annotated[str, typer.Option("--plot", help="Save a figure (PNG, PDF or SVG by the ending).")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output on stdout.")] = False,
) -> int:
    """Predict every member of a grid or of a sample; what is done is kept, whatever happens."""
    from ..ensembles import Block
    from ..ensembles import sweep as members
    from ..store import SweepStore

    scenario = load(file) if file else builtin()
    design = _design(scenario, vary or [], sample, count, seed)
    if plot:
        from ..plots.files import check_path

        check_path(plot)
    begun = time.monotonic()
    with SweepStore(out, scenario, design) as store:
        for sentence in store.damaged:
            print(f"warning: {sentence}", file=sys.stderr)
        done = store.done()
        try:
            with Interruption() as interruption:
                for part in watched(members(scenario, design, workers, done), len(design), len(done)):
                    with interruption.held():
                        (store.append_block if isinstance(part, Block) else store.append)(part)
            result = store.finish()
        except KeyboardInterrupt:
            store.flush()
            kept = f"{len(store.done())} of {len(design)} members are kept"
            print(f"binarydyn: interrupted, {kept}; the same command resumes", file=sys.stderr)
            return 130
    computed, seconds = len(design) - len(done), time.monotonic() - begun
    report = sweep_report(result) | {"computed": computed, "reused": len(done), "wall_s": round(seconds, 3)}
    if plot:
        save_figure(plot, result)
    if as_json:
        print(json.dumps(report, indent=2, allow_nan=False))
    else:
        print_sweep(report)
        how = f"{computed} computed in {seconds:.1f} s, {len(done)} reused" if computed else "nothing was left to do"
        print(f"{one_line(out)}: {how}\n{CAUTION}")
    return 0 if set(report["statuses"]) == {"done"} else 1


def _design(scenario: Scenario, vary: list[str], sample: str, count: int | None, seed: int | None):
    """The grid or the sample that is asked for."""
    from ..ensembles import Grid, Sample

    if not sample:
        for name, value in (("--count", count), ("--seed", seed)):
            if value is not None:
                raise InputError(name, f"{value} is given without --sample, allowed is with it; add --sample random")
        return Grid.from_texts(vary)
    if vary:
        raise InputError("--sample", "--vary and --sample are both given, allowed is one of them; remove the other")
    return Sample.of(scenario, sample, count, seed)
