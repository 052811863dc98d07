"""`binarydyn merge`: parts of one sweep, done on several machines, as one file."""

from __future__ import annotations

from typing import Annotated

import numpy as np
import typer

from ..scenario.wording import CAUTION, counted, one_line
from ..terminal.options import Json
from ..terminal.tables import print_json
from .show import print_sweep, sweep_report

_RUNS_TOLD = 3


def merge(
    out: Annotated[str, typer.Option("--out", help="Combined file; existing rows are kept.")],
    files: Annotated[list[str], typer.Argument(help="Result files of `sweep --members`.")],
    as_json: Json = False,
) -> int:
    """Join files of one sweep; `sweep --out` with the merged file computes what is missing."""
    from ..store.tables.merge import merge as merged

    result, missing = merged(files, out)
    report = sweep_report(result) | {
        "files": list(files),
        "missing": len(missing),
        "first_missing": missing_of(missing),
    }
    if as_json:
        print_json(report)
    else:
        print_sweep(report)
        said = f"{counted(len(missing), 'member')} missing: {report['first_missing']}" if len(missing) else "complete"
        print(f"{one_line(out)}: {counted(len(files), 'file')} combined, {said}\n{CAUTION}")
    return 1 if len(missing) else 0


def missing_of(missing: np.ndarray) -> str:
    """The first runs of missing members as FIRST:END, as `sweep --members` takes them."""
    breaks = np.flatnonzero(np.diff(missing) > 1) + 1
    runs = [f"{run[0]}:{run[-1] + 1}" for run in np.split(missing, breaks) if len(run)]
    return ", ".join(runs[:_RUNS_TOLD]) + (f" and {len(runs) - _RUNS_TOLD} more" if len(runs) > _RUNS_TOLD else "")
