"""`binarydyn sweep`: the same prediction over a grid of any numbers of the scenario, one stored row for each member."""

from __future__ import annotations

import re
import signal
import sys
import time
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import InputError, WorkersLostError
from ..scenario import Scenario, builtin, load
from ..scenario.wording import CAUTION, as_given, one_line
from ..terminal.interruption import Interruption
from ..terminal.progress import watched
from ..terminal.tables import check_outputs, print_json
from .show import print_sweep, save_figure, sweep_report

if TYPE_CHECKING:
    from ..store import SweepStore


def sweep(
    file: Annotated[
        str, typer.Argument(help="Scenario file (TOML); none: the built-in invented system.", show_default=False)
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
    members: Annotated[
        str, typer.Option("--members", help="FIRST:END, as 0:5000: this part of the design alone; `merge` joins files.")
    ] = "",
    out: Annotated[str, typer.Option("--out", help="Result file (HDF5); the same command again resumes.")] = ...,
    backend: Annotated[
        str, typer.Option("--backend", help="threads (of this machine), cluster (Dask distributed) or gpu.")
    ] = "threads",
    workers: Annotated[
        int | None, typer.Option("--workers", help="Threads, or processes of a cluster; none: one for each core.")
    ] = None,
    scheduler: Annotated[
        str, typer.Option("--scheduler", help="Address of a cluster's; none: workers are started on this machine.")
    ] = "",
    table: Annotated[
        str,
        typer.Option("--table", help="full: all that predict says; summary: outcomes alone, a hundred times faster."),
    ] = "full",
    refine: Annotated[
        float, typer.Option("--refine", help="Summary table: times as many steps as usual; 4 for errors below 1e-4 s.")
    ] = 1.0,
    chaos: Annotated[
        bool, typer.Option("--chaos", help="Summary table: tell chaotic members, at four more runs each.")
    ] = False,
    confirm: Annotated[bool, typer.Option("--confirm", help="Needed for a grid of more than 100 000 members.")] = False,
    plot: Annotated[str, typer.Option("--plot", help="Save a figure (PNG, PDF or SVG by the ending).")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Machine-readable output on stdout.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Do not tell how far it is.")] = False,
) -> int:
    """Predict every member of a grid or of a sample; what is done is kept, whatever happens."""
    from ..ensembles import Backend, rows_of
    from ..store import SweepStore

    scenario = load(file) if file else builtin()
    design = _design(scenario, vary or [], sample, count, seed)
    where = Backend(backend, workers, scheduler, table, refine, chaos)
    check_outputs({"--out": out, "--plot": plot}, scenario, file)
    if plot:
        if len(design) < 2:
            raise InputError("--plot", f"{len(design)} member is asked for, 2 are needed for a figure; ask for more")
    begun = time.monotonic()
    with SweepStore.by(where, out, scenario, design, _part(members, len(design))) as store:
        for sentence in store.damaged:
            print(f"warning: {sentence}", file=sys.stderr)
        needless = store.needless()
        left, wanted = len(design) - len(needless), len(store.wanted)
        interruption = Interruption(signal.SIGINT, signal.SIGTERM)
        try:
            with interruption:
                sure = confirm or bool(sample)  # a sample's count is a number that somebody wrote
                parts = rows_of(scenario, design, done=needless, backend=where, confirm=sure)
                for part in parts if quiet else watched(parts, wanted, wanted - left):
                    with interruption.held():
                        store.keep(part)
                result = store.finish()
        except KeyboardInterrupt:
            store.flush()
            print(f"binarydyn: {interruption.word}, {_kept(store)}; the same command resumes", file=sys.stderr)
            return interruption.code
        except WorkersLostError as error:
            store.flush()
            raise WorkersLostError(f"{error}; {_kept(store)}, the same command resumes") from None
    reused, seconds = wanted - left, time.monotonic() - begun
    report = sweep_report(result) | {"computed": left, "reused": reused, "wall_s": round(seconds, 3)}
    if plot:
        save_figure(plot, result)
    if as_json:
        print_json(report)
    else:
        print_sweep(report)
        how = f"{left} computed in {seconds:.1f} s, {reused} reused" if left else "nothing was left to do"
        print(f"{one_line(out)}: {how}\n{CAUTION}")
    return 0 if set(report["statuses"]) == {"completed"} else 1


def _kept(store: SweepStore) -> str:
    return f"{len(store.done())} of {len(store.wanted)} members are kept"


def _design(scenario: Scenario, vary: list[str], sample: str, count: int | None, seed: int | None):
    """The grid or the sample that is asked for."""
    from ..sampling import Grid, Sample

    if not sample:
        for name, value in (("--count", count), ("--seed", seed)):
            if value is not None:
                raise InputError(name, f"{value} is given without --sample, allowed is with it; add --sample random")
        return Grid.from_texts(vary)
    if vary:
        raise InputError("--sample", "--vary and --sample are both given, allowed is one of them; remove the other")
    return Sample.of(scenario, sample, count, seed)


def _part(text: str, count: int) -> range | None:
    """The part of a design of `count` members that is asked for; None: all of it."""
    if not text:
        return None
    found = re.fullmatch(r"([0-9]{1,9}):([0-9]{1,9})", text)
    first, end = (int(number) for number in found.groups()) if found else (0, 0)
    if not 0 <= first < end <= count:
        raise InputError(
            "--members",
            f"{as_given(text)} is given, allowed is FIRST:END with 0 <= FIRST < END <= {count}, as in 0:{count}; "
            "change it or leave it out",
        )
    return range(first, end)
