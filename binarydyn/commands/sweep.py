"""`binarydyn sweep`: the same prediction over a grid of any numbers of the scenario, one stored row for each member."""

from __future__ import annotations

import re
import signal
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import InputError, WorkersLostError
from ..sampling import Grid, Sample
from ..scenario import Scenario
from ..scenario.wording import CAUTION, as_given, counted, one_line
from ..terminal.interruption import Interruption
from ..terminal.options import Count, File, Json, Plot, Seed, Table, gathered, scenario_of
from ..terminal.progress import watched
from ..terminal.tables import check_outputs, print_json
from .show import print_sweep, save_figure, sweep_report

if TYPE_CHECKING:
    from ..store import SweepStore


@dataclass(frozen=True)
class DesignOptions:
    """A grid or a sample; vary: empty or None for none."""

    vary: Annotated[
        list[str] | None,
        typer.Option("--vary", help="Grid axis: KEY=LOW:HIGH:COUNT (ends included) or KEY=V1,V2,... Repeatable."),
    ] = None
    sample: Annotated[
        str, typer.Option("--sample", help="Sampling method, in place of a grid: random, sobol or latin.")
    ] = ""
    count: Count = None
    seed: Seed = None


@dataclass(frozen=True)
class BackendOptions:
    """Where and how members are computed: what a Backend is made of."""

    name: Annotated[str, typer.Option("--backend", help="Where to compute: threads, cluster (Dask) or gpu.")] = (
        "threads"
    )
    workers: Annotated[int | None, typer.Option("--workers", help="Number of workers. [default: number of cores]")] = (
        None
    )
    scheduler: Annotated[
        str, typer.Option("--scheduler", help="Address of a Dask scheduler. [default: start a local one]")
    ] = ""
    table: Table = "full"
    refine: Annotated[
        float,
        typer.Option(
            "--refine",
            help="Multiply the number of steps of the summary table by this factor; 4 gives errors below 1e-4 s.",
        ),
    ] = 1.0
    chaos: Annotated[
        bool, typer.Option("--chaos", help="Flag chaotic members of the summary table (four extra runs per member).")
    ] = False


@gathered
def sweep(
    *,
    out: Annotated[str, typer.Option("--out", help="Result file (HDF5). Repeat the command to resume.")],
    file: File = "",
    asked: DesignOptions,
    members: Annotated[
        str,
        typer.Option("--members", help="Compute members FIRST to END-1 only, e.g. 0:5000; combine files with `merge`."),
    ] = "",
    computed: BackendOptions,
    confirm: Annotated[bool, typer.Option("--confirm", help="Needed for a grid of more than 100 000 members.")] = False,
    plot: Plot = "",
    as_json: Json = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Do not report progress.")] = False,
) -> int:
    """Predict every member of a grid or of a sample; what is done is kept, whatever happens."""
    from ..ensembles import Backend, rows_of
    from ..store import SweepStore

    scenario = scenario_of(file)
    design, where = _design(scenario, asked), Backend(**vars(computed))
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
                sure = confirm or bool(asked.sample)  # a sample's count is a number that somebody wrote
                parts = rows_of(scenario, design, done=needless, backend=where, confirm=sure)
                for part in parts if quiet else watched(parts, wanted, wanted - left):
                    with interruption.held():
                        store.keep(part)
                result = store.finish()
        except KeyboardInterrupt:
            store.flush()
            print(f"binarydyn: {interruption.word}, {_kept(store)}; repeat the command to resume", file=sys.stderr)
            return interruption.code
        except WorkersLostError as error:
            store.flush()
            raise WorkersLostError(f"{error}; {_kept(store)}; repeat the command to resume") from None
    reused, seconds = wanted - left, time.monotonic() - begun
    report = sweep_report(result) | {"computed": left, "reused": reused, "wall_s": round(seconds, 3)}
    if plot:
        save_figure(plot, result)
    if as_json:
        print_json(report)
    else:
        print_sweep(report)
        how = (
            f"{counted(left, 'member')} computed in {seconds:.1f} s, {reused} reused"
            if left
            else "all members already present"
        )
        print(f"{one_line(out)}: {how}\n{CAUTION}")
    return 0 if set(report["statuses"]) == {"completed"} else 1


def _kept(store: SweepStore) -> str:
    return f"{len(store.done())} of {len(store.wanted)} members saved"


def _design(scenario: Scenario, asked: DesignOptions):
    """The grid or the sample that is asked for."""
    if not asked.sample:
        for name, value in (("--count", asked.count), ("--seed", asked.seed)):
            if value is not None:
                raise InputError(name, f"{value} is given without --sample, allowed is with it; add --sample random")
        return Grid.from_texts(asked.vary or [])
    if asked.vary:
        raise InputError("--sample", "--vary and --sample are both given, allowed is one of them; remove the other")
    return Sample.of(scenario, asked.sample, asked.count, asked.seed)


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
