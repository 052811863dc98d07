"""Where the members of a design are computed: threads of this machine or workers of a cluster.

The same members give the same rows, bit for bit, wherever that is.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from ..errors import InputError
from ..scenario import Scenario
from ..scenario.wording import as_given
from . import cluster, threads
from .block import Block
from .design import Design, Grid
from .members import Row, cores, swept

BACKENDS = ("threads", "cluster")
MOST_WORKERS = 1024
"""Beyond any machine's cores they only wait for each other."""


def sweep(
    scenario: Scenario,
    design: Design | Mapping,
    workers: int | None = None,
    done: Collection[int] = (),
    backend: str = "threads",
    scheduler: str = "",
) -> Iterator[Row | Block]:
    """Iterate over what all members that are not in `done` give, in any order; `workers` None: one for each core.

    A mapping {key: values} stands for the grid of them.  scheduler: address of a cluster's, empty for workers that are
    started here.  What happens to a member is in its row.  On KeyboardInterrupt, members under way are given up, rows
    that are ready are still yielded, then it goes on up.  Errors: InputError for a key that the scenario does not have,
    options that do not fit together, or a backend that this machine has not; WorkersLostError, while iterating, where
    nobody is left to compute.
    """
    design = Grid.of(design) if isinstance(design, Mapping) else design
    design.check(scenario)
    check_backend(backend, workers, scheduler)
    base = swept(scenario)
    if backend == "cluster":
        return cluster.full(base, design, done, workers or cores(), scheduler)
    return threads.full(base, design, done, workers or cores())


def check_backend(backend: str, workers: int | None = None, scheduler: str = "") -> None:
    """InputError for options that do not fit together, and where this machine has not what they ask for."""
    if backend not in BACKENDS:
        raise InputError("--backend", f"{as_given(backend)} is given, allowed is {' or '.join(BACKENDS)}; choose one")
    if workers is not None and not (isinstance(workers, int) and 1 <= workers <= MOST_WORKERS):
        raise InputError("--workers", f"{workers} is given, allowed is 1 .. {MOST_WORKERS}; change it or leave it out")
    if scheduler and backend != "cluster":
        raise InputError(
            "--scheduler", f"it is given with --backend {backend}, allowed is with cluster; add --backend cluster"
        )
    if scheduler and workers is not None:
        raise InputError(
            "--workers", "it is given with --scheduler, whose workers are there already; leave one of them out"
        )
    if backend == "cluster":
        cluster.dask_distributed()
