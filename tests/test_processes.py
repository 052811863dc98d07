"""Full rows by processes of this machine: the bits of one thread, whatever happens to the processes."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from short_sweeps import HIT, scenario, stored

from binarydyn.ensembles import Backend, backends, processes, rows_of
from binarydyn.ensembles.tasks import Batches
from binarydyn.sampling import Grid
from binarydyn.store import SweepStore

GRID = Grid.of({"impactor.mass_kg": [300.0, -5.0, 500.0, 700.0, 900.0], "primary.rotation_phase_deg": [0.0, 77.0]})


def in_order(rows) -> str:
    """Every digit of every number: the shortest text that gives the same float back."""
    return repr(sorted(rows, key=lambda row: row.index))


@pytest.fixture(scope="module")
def one_thread() -> str:
    return in_order(rows_of(scenario(), GRID, 1))


@pytest.fixture
def helpers(monkeypatch) -> list[processes._Process]:
    """The processes that sweeps of this test start, however short the sweeps are."""
    started, begin = [], processes._Process.start

    def noted(self):
        begin(self)
        started.append(self)

    monkeypatch.setattr(processes._Process, "start", noted)
    monkeypatch.setattr(backends, "ENOUGH", 1)
    return started


def all_ended(helpers: list[processes._Process]) -> bool:
    return not any(process.is_alive() for process in helpers)


def test_two_processes_give_the_bits_of_one_thread(one_thread, helpers):
    assert in_order(rows_of(scenario(), GRID, 2)) == one_thread
    assert len(helpers) == 2 and all_ended(helpers)


def test_a_process_that_is_killed_is_replaced_and_its_members_are_computed_anew(one_thread, helpers):
    rows = []
    for row in rows_of(scenario(), GRID, 2):
        rows.append(row)
        if len(rows) == 2:
            helpers[0].kill()
    assert in_order(rows) == one_thread and len(helpers) == 3 and all_ended(helpers)


def test_a_sweep_that_is_left_leaves_no_process(helpers):
    rows = rows_of(scenario(), Grid.of({"impactor.mass_kg": np.linspace(100.0, 900.0, 500)}), 2)
    for _ in range(3):
        next(rows)
    rows.close()
    assert len(helpers) == 2 and all_ended(helpers)


def test_a_member_that_kills_its_processes_is_a_row(helpers, tmp_path, monkeypatch):
    """The processes import a sitecustomize that ends them where they predict one certain member."""
    (tmp_path / "sitecustomize.py").write_text(
        "import os, sys\n"
        "if 'spawn_main' in ' '.join(sys.orig_argv):\n"
        "    from binarydyn.sampling import members\n"
        "    real = members.predict\n"
        "    def predict(asked, progress=None):\n"
        "        if asked.impactor.mass_kg == 500.0: os._exit(9)\n"
        "        return real(asked, progress=progress)\n"
        "    members.predict = predict\n"
    )
    monkeypatch.setenv("PYTHONPATH", f"{tmp_path}{os.pathsep}{os.getcwd()}")
    grid = Grid.of({"impactor.mass_kg": [300.0, 400.0, 500.0, 600.0]})
    rows = sorted(rows_of(scenario(), grid, 2), key=lambda row: row.index)
    assert [row.status for row in rows] == ["completed", "completed", "error", "completed"]
    assert "died" in rows[2].reason


SCRIPT = """
import sys
from binarydyn.ensembles import backends, rows_of
from binarydyn.scenario import Scenario
backends.ENOUGH = 1
print(len(list(rows_of(Scenario.from_text(sys.stdin.read(), "pair.toml"), {"impactor.mass_kg": [1.0, 2.0, 3.0]}, 2))))
"""


def test_a_script_that_sweeps_needs_no_guard(tmp_path):
    """Processes of the library run the script again that starts them; these do not."""
    (tmp_path / "script.py").write_text(SCRIPT)
    command = [sys.executable, str(tmp_path / "script.py")]
    environment = os.environ | {"PYTHONPATH": os.getcwd()}
    done = subprocess.run(command, input=HIT, env=environment, capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (0, "3\n", "")


def test_the_processes_end_with_the_sweep_that_started_them_even_where_it_is_killed(tmp_path):
    (tmp_path / "pair.toml").write_text(HIT)
    words = ["--vary", "impactor.mass_kg=300:900:2000", "--workers", "2", "--out", str(tmp_path / "s.h5")]
    command = [sys.executable, "-m", "binarydyn", "sweep", str(tmp_path / "pair.toml"), *words]
    for how, code in ((signal.SIGINT, 130), (signal.SIGKILL, -9)):
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        while len(children(process.pid)) < 3:  # the two, and one that keeps count of what they share
            assert process.poll() is None, process.communicate()
            time.sleep(0.05)
        time.sleep(1.0)
        found = children(process.pid)
        process.send_signal(how)
        _, err = process.communicate(timeout=60)
        assert process.returncode == code and (code < 0 or err.splitlines()[-1].startswith("binarydyn: interrupted"))
        for _ in range(200):
            if not any(os.path.exists(f"/proc/{child}") for child in found):
                break
            time.sleep(0.05)
        assert not any(os.path.exists(f"/proc/{child}") for child in found)


def children(parent: int) -> list[int]:
    """Processes that a process has started (Linux)."""
    lists = Path(f"/proc/{parent}/task").glob("*/children")
    return [int(word) for path in lists for word in path.read_text().split()]


def test_a_file_tells_where_its_rows_were_computed_and_may_be_continued_elsewhere(tmp_path):
    assert stored(tmp_path / "s.h5", GRID, stop_after=5) is None
    how = Backend("threads", 3)
    with SweepStore(tmp_path / "s.h5", scenario(), GRID, told=how.told) as store:
        assert len(store.done()) == 5
        for row in rows_of(scenario(), GRID, done=store.done(), backend=how):
            store.keep(row)
        found = store.finish().attributes
    assert (found["backend"], found["workers"]) == ("threads", "3")


def test_batches_grow_with_what_they_take_and_shrink_towards_the_end():
    batches = Batches(iter(range(1000)), 1000, 2, seconds=1.0, smallest=1, largest=64)
    sizes = []
    for batch in batches:
        sizes.append(len(batch))
        batches.learn(len(batch), 0.01 * len(batch))
    assert sum(sizes) == 1000 and sizes[:8] == [1, 2, 4, 8, 16, 32, 64, 64] and sizes[-3:] == [1, 1, 1]
    batches.learn(64, 640.0)
    assert batches.size == 1
