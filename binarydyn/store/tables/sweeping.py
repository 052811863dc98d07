"""A sweep from the question to its table: what varies, the members computed, and kept in a file if one is named."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...ensembles import POOL, Backend, Pool, rows_of
from ...kinds import PATH, WHOLE, takes
from ...sampling import Block, Design, Grid, Row
from ...sampling.listed import Listed
from ...scenario import Scenario
from ..members import Members
from ..opened import stored_members
from .rows import table_of
from .sweeps import SweepStore

if TYPE_CHECKING:
    import pandas

Progress = Callable[[str, float], None]


@takes(scenario="Scenario", workers=(None, WHOLE), backend=(None, "Backend", POOL), out=(None, *PATH), confirm=bool)
def sweep(
    scenario: Scenario,
    over: Mapping[str, Sequence[float]] | pandas.DataFrame | Sequence[Mapping[str, float]] | Design,
    *,
    table: str = "full",
    workers: int | None = None,
    backend: Backend | Pool | None = None,
    out: str | Path | None = None,
    progress: Progress | None = None,
    confirm: bool = False,
) -> Members:
    """Predict many members of a scenario, which differ in some of its numbers.

    Parameters
    ----------
    over : what varies, by dotted keys in the units of their names.  A mapping {key: values} stands for the grid of all
        combinations, the last key varying fastest; a pandas table or a list of dictionaries for one member a row.
    table : `full`, all that `predict` says, some 50 ms a member and core; `summary`, outcomes alone, some 0.5 ms.
    workers : threads or processes of this machine, or how many a pool has; None: one for each core.
    backend : a pool of your own, anything with `map`: an executor of `concurrent.futures`, a multiprocessing.Pool, MPI
        ranks, a client of Dask; or a Backend, in place of table and workers, for a cluster or a GPU.
    out : a result file (HDF5).  Members that it holds already are not computed again; what is done is kept.
    progress : called with a word and the share, 0 to 1, that is done.
    confirm : says that more than 100 000 members are meant.

    Returns
    -------
    Members, in the order of the grid or of the rows, with the same bits on any number of workers.  What becomes of a
    member is its status; none ends the sweep.

    Raises
    ------
    InputError for a key that is no number of this scenario, for a value that is none, and for so many members.

    Examples
    --------
    >>> import binarydyn as bd
    >>> found = bd.sweep(bd.example(), {"momentum_transfer.beta": [1.0, 2.2]}, workers=1)
    >>> found
    <Members 2: 2 completed; varies 1 key; full table>
    >>> found.df["period_change_s"].round(1).tolist()
    [-756.7, -1578.5]
    """
    design, how = design_over(over), Backend.by(backend, workers, table)
    if out is None:
        rows = rows_of(scenario, design, backend=how, confirm=confirm)
        return Members.of(scenario, design, table_of(list(_told(rows, len(design), progress)), design), how)
    with SweepStore.by(how, out, scenario, design) as store:
        kept = store.needless()
        rows = rows_of(scenario, design, done=kept, backend=how, confirm=confirm)
        for part in _told(rows, len(design), progress, len(kept)):
            store.keep(part)
        return stored_members(store.finish())


def design_over(over: Any) -> Design:
    """The members that a mapping, a table, a list of rows or a design stands for.  InputError, KindError."""
    if isinstance(over, Mapping):
        return Grid.of(over)
    if hasattr(over, "to_dict") and hasattr(over, "columns"):
        over = over.to_dict("records")
    return Listed.of_rows(over) if isinstance(over, Sequence) and not isinstance(over, str) else over


def _told(parts: Iterable[Row | Block], count: int, progress: Progress | None, done: int = 0) -> Iterator[Row | Block]:
    """The same, telling how far it is."""
    for part in parts:
        done += len(part) if isinstance(part, Block) else 1
        yield part
        if progress:
            progress("members", done / count)
