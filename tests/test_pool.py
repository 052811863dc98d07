"""Sweeps through pools of the user's own: anything with `map`, the rows of one thread, and what becomes of the pool."""

from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.pool import ThreadPool

import numpy as np
import pytest
from short_sweeps import scenario

import binarydyn
from binarydyn.ensembles import Backend, rows_of
from binarydyn.errors import InputError, WorkersLostError
from binarydyn.sampling import Grid

GRID = Grid.of({"impactor.mass_kg": [300.0, -5.0, 500.0], "primary.rotation_phase_deg": [0.0, 77.0]})


class Serial:
    """The pool of somebody who has none: what each call is given is noted."""

    def __init__(self):
        self.rounds = []

    def map(self, work, things):
        self.rounds.append(list(things))
        return [work(thing) for thing in self.rounds[-1]]


def in_order(rows) -> str:
    """Every digit of every number: the shortest text that gives the same float back."""
    return repr(sorted(rows, key=lambda row: row.index))


@pytest.fixture(scope="module")
def one_thread() -> str:
    return in_order(rows_of(scenario(), GRID, 1))


def test_a_pool_with_map_alone_gives_the_bits_of_one_thread_in_rounds_of_a_batch_for_each_worker(one_thread):
    pool = Serial()
    assert in_order(rows_of(scenario(), GRID, 2, backend=pool)) == one_thread
    assert [len(members) for members in pool.rounds] == [1, 2, 2, 1]
    assert sorted(k for members in pool.rounds for batch in members for k in batch) == list(range(6))


@pytest.mark.parametrize("kind", [ThreadPoolExecutor, ThreadPool])
def test_a_pool_of_a_library_gives_the_bits_of_one_thread_and_stays_open(kind, one_thread):
    with kind(2) as pool:
        how = Backend(pool=pool, workers=2)
        assert in_order(rows_of(scenario(), GRID, backend=how)) == one_thread
        rows = rows_of(scenario(), GRID, backend=how, done={0, 1})
        next(rows)
        rows.close()
        assert list(pool.map(abs, [-1, -2])) == [1, 2]
    assert how.told == {"backend": f"pool {kind.__name__}", "workers": "2"}


def test_the_front_door_takes_a_pool():
    with ThreadPoolExecutor(2) as pool:
        found = binarydyn.sweep(scenario(), GRID, backend=pool, workers=2).df
    wanted = binarydyn.sweep(scenario(), GRID, workers=1).df
    assert found.equals(wanted) and found["status"].tolist() == 2 * ["completed"] + 2 * ["bad_input"] + 2 * [
        "completed"
    ]


def test_a_pool_gives_blocks_too():
    grid = Grid.of({"impactor.mass_kg": np.linspace(-1.0, 900.0, 100)})
    found = []
    for how in (Backend(workers=1, table="summary"), Backend(workers=1, table="summary", pool=Serial())):
        blocks = list(rows_of(scenario(), grid, backend=how))
        order = np.argsort(np.concatenate([block.members for block in blocks]))
        numbers = {name: np.concatenate([b.numbers[name] for b in blocks])[order] for name in blocks[0].numbers}
        found.append({name: values.tobytes() for name, values in numbers.items()})
    assert found[0] == found[1]


class Dying(ThreadPoolExecutor):
    """Its workers compute one batch; then one of them dies, and all that is under way with it."""

    count = 0

    def submit(self, work, *given):
        self.count += 1
        if self.count == 1:
            return super().submit(work, *given)
        future = Future()
        future.set_exception(BrokenProcessPool("a process terminated abruptly"))
        return future


def test_a_pool_whose_worker_dies_is_named_with_the_members_after_what_was_ready():
    seen = []
    with Dying(1) as pool, pytest.raises(WorkersLostError, match="members ([1-5], )*4 under way .*abruptly"):
        for row in rows_of(scenario(), GRID, 1, backend=pool):
            seen.append(row.index)
    assert seen == [0]


def test_what_is_no_pool_or_has_two_is_refused_in_a_sentence():
    for given in (7, object(), "cluster"):
        with pytest.raises(InputError, match="allowed is None or a Backend or a pool of workers with map"):
            rows_of(scenario(), GRID, backend=given)
    with pytest.raises(InputError, match="cluster is given with a pool"):
        Backend("cluster", pool=Serial())


def test_a_worker_that_fails_is_told_as_such():
    class Failing(Serial):
        def submit(self, work, members):
            future = Future()
            future.set_exception(ModuleNotFoundError("No module named 'x'"))
            return future

    with pytest.raises(InputError, match="a worker of the pool cannot compute .ModuleNotFoundError"):
        list(rows_of(scenario(), GRID, backend=Failing()))
