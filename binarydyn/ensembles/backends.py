"""Where the members of a design are computed: threads of this machine, workers of a cluster, a GPU.

The same members give the same rows, bit for bit, wherever that is.
"""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterator, Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Any

from ..batch import gpu
from ..batch.summary import Stepper, SummaryOptions, check_summary
from ..constants import HOUR_S
from ..errors import ArgumentError
from ..kinds import WHOLE, Like, as_shown, check_kind, takes
from ..renamed import SWEEP_TABLES, now
from ..sampling.block import TABLES, Block
from ..sampling.design import Design, Grid
from ..sampling.listed import check_design
from ..sampling.members import Row, cores, swept
from ..scenario import Scenario
from ..scenario.wording import as_given, rounded
from . import cluster, processes, threads
from .pool import Lent, Pool, in_rounds, shared
from .tasks import ONE_THREAD, Asked, Batches

BACKENDS = ("threads", "cluster", "gpu")
MOST_WORKERS = 1024
"""Beyond any machine's cores they only wait for each other."""
UNCONFIRMED = 100_000
"""Members that a sweep starts without being told that so many are meant."""
_SECONDS = {"full": 0.05, "summary": 0.0005}
"""Of a core for a member, see experiments/16."""
ENOUGH = 200
"""Full rows, from which on each thread gets a process: one takes seconds to start, and then waits for nobody, while two
threads make 1.3 times the rows of one and sixteen no more than two: half of a row's work holds the interpreter."""
POOL = Like("a pool of workers with map", ("map",))
MOST_REFINED = 100.0
_LARGEST_ON_GPU = 65536
"""Members of a block beside a GPU: some 30 000 fill it, and others wait for it meanwhile."""


@dataclass(frozen=True)
class Backend:
    """Where members are computed, and what of them.

    name: of BACKENDS.  workers: threads, or processes where a cluster is started here; None: one for each core.
    scheduler: address of a cluster's.  table: `full` gives a Row for each member, `summary` Blocks; refine, chaos: of
    the summary table, as of summary_rows.  pool: workers of your own in place of a name, anything with `map` (see
    Pool); `workers` then says how many it has.  Errors: InputError for options that do not fit together, and where this
    machine has not what they ask for.
    """

    name: str = "threads"
    workers: int | None = None
    scheduler: str = ""
    table: str = "full"
    refine: float = 1.0
    chaos: bool = False
    pool: Pool | None = None

    def __post_init__(self):
        check_kind("Backend(pool)", self.pool, None, POOL)
        for option, value, allowed in (("backend", self.name, BACKENDS), ("table", self.table, TABLES)):
            if not isinstance(value, str) or value not in allowed:
                hint = now(value, SWEEP_TABLES) if isinstance(value, str) else ""
                sentence = f"{as_given(value)} is given, allowed is {' or '.join(allowed)}; {hint or 'choose one'}"
                raise ArgumentError(option, sentence)
        for option, wrong in self._refusals().items():
            if wrong:
                raise ArgumentError(option, wrong)
        if self.name == "cluster":
            cluster.dask_distributed()
        if self.name == "gpu":
            gpu.cupy()

    @classmethod
    def by(cls, given: Backend | Pool | None, workers: int | None, table: str = "full") -> Backend:
        """What is given, where that is one; else the pool, or the threads, with so many workers."""
        return given if isinstance(given, Backend) else cls(workers=workers, table=table, pool=given)

    def _refusals(self) -> dict[str, str]:
        """By option, what is wrong with it; empty where nothing is."""
        workers, summary = self.workers, self.table == "summary"
        wrong = dict.fromkeys(("workers", "scheduler", "backend", "refine", "chaos"), "")
        if workers is not None and not (isinstance(workers, int) and 1 <= workers <= MOST_WORKERS):
            wrong["workers"] = (
                f"{as_shown(workers)} is given, allowed is 1 .. {MOST_WORKERS}; change it or leave it out"
            )
        elif workers is not None and self.scheduler:
            wrong["workers"] = "it is given with a scheduler, whose workers are there already; leave one of them out"
        if self.scheduler and self.name != "cluster":
            wrong["scheduler"] = f"it is given with the backend {self.name}, allowed is with cluster; choose that"
        if self.pool is not None and self.name != "threads":
            wrong["backend"] = f"{self.name} is given with a pool, which has workers already; leave one of them out"
        elif self.name == "gpu" and not summary:
            wrong["backend"] = "gpu is given with the full table, a GPU gives the summary one; choose that"
        if not 1.0 <= self.refine <= MOST_REFINED:
            wrong["refine"] = f"{self.refine:g} is given, allowed is 1 .. {MOST_REFINED:g}; change it"
        elif self.refine != 1.0 and not summary:
            wrong["refine"] = "it is given with the full table, which has a tolerance in place of steps; leave it out"
        if self.chaos and not summary:
            wrong["chaos"] = "it is given with the full table, which always has neighbouring trajectories; leave it out"
        return wrong

    @property
    def summary(self) -> SummaryOptions | None:
        """How the summary table is computed; None for the full one."""
        return SummaryOptions(self.refine, self.chaos) if self.table == "summary" else None

    @property
    def told(self) -> dict[str, str]:
        """What a file tells of where its rows come from; it decides none of them."""
        name = self.name if self.pool is None else f"pool {type(self.pool).__name__}"
        where = {"backend": name, "workers": f"of {self.scheduler}" if self.scheduler else str(self.crew)}
        return where | ({"gpu": gpu.name()} if self.name == "gpu" else {})

    @property
    def crew(self) -> int:
        """Threads or processes of this machine, or workers of a pool."""
        return self.workers or cores()


_MEMBERS = ("MemberSet", set, frozenset, range, list, tuple, "ndarray")


@takes(scenario="Scenario", workers=(None, WHOLE), done=_MEMBERS, backend=(None, "Backend", POOL), confirm=bool)
def rows_of(
    scenario: Scenario,
    design: Design | Mapping,
    workers: int | None = None,
    done: Collection[int] = (),
    backend: Backend | Pool | None = None,
    confirm: bool = False,
) -> Iterator[Row | Block]:
    """Iterate over what all members that are not in `done` give, in any order; `workers` None: one for each core.

    A mapping {key: values} stands for the grid of them.  backend: in place of so many threads and the full table, or a
    pool of your own with `map`, as an executor of `concurrent.futures`, a multiprocessing.Pool or a client of Dask.
    confirm: says that more than UNCONFIRMED members are meant.  What happens to a member is in its row.  On
    KeyboardInterrupt, members under way are given up, rows that are ready are still yielded, then it goes on up.
    Errors: InputError for a key that the scenario does not have, and for so many members; WorkersLostError, while
    iterating, where nobody is left to compute.
    """
    design = Grid.of(design) if isinstance(design, Mapping) else design
    check_design("sweep", design)
    design.check(scenario)
    how, base = Backend.by(backend, workers), swept(scenario)
    left = len(design) - len(done)
    if left > UNCONFIRMED and not confirm:
        raise ArgumentError("confirm", too_many(left, how))
    if how.summary:
        check_summary(base, design)
    if how.pool is not None or how.name == "cluster" or (not how.summary and how.crew > 1 and left >= ENOUGH):
        return _elsewhere(base, design, done, how)
    if not how.summary:
        return threads.full(base, design, done, how.crew)
    if how.name == "gpu":
        return threads.summary(base, design, done, how.crew, how.summary, _in_turn(gpu.accumulated), _LARGEST_ON_GPU)
    return threads.summary(base, design, done, how.crew, how.summary, ONE_THREAD)


def _elsewhere(base: Scenario, design: Design, done: Collection[int], how: Backend) -> Iterator[Row | Block]:
    """By a pool that somebody has lent, a cluster, or processes of this machine."""
    work = Asked.of(base, design, how.summary)
    pool: Any = how.pool
    batches = (Batches.of_blocks if how.summary else Batches.of_rows)(design, done, how.crew)
    if pool is None:
        if how.name == "cluster":
            return shared(cluster.opened(how.crew, how.scheduler), work, batches, design)
        return shared(processes.opened(how.crew), work, batches, design, here=work)
    if hasattr(pool, "get_executor"):  # a client of Dask, whose own futures are not those of the standard library
        return shared(nullcontext(cluster.ClientWorkers(pool)), work, batches, design)
    if hasattr(pool, "submit"):
        return shared(nullcontext(Lent(pool, how.crew)), work, batches, design)
    return in_rounds(pool, work, batches, how.crew)


def too_many(count: int, how: Backend) -> str:
    """What is asked for and how long it may take on this machine."""
    hours = count * _SECONDS[how.table] / (how.crew * HOUR_S)
    return (
        f"{count} members are asked for, some {rounded(hours, 2)} hours on {how.crew} workers; more than {UNCONFIRMED} "
        "are started only once that is confirmed; confirm it, or take fewer"
    )


def _in_turn(stepper: Stepper) -> Stepper:
    """The same for several threads: while one block is on the GPU, the others' are being prepared."""
    turn = threading.Lock()

    def step(*given, **named):
        with turn:
            return stepper(*given, **named)

    return step
