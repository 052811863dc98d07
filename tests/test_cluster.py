"""Sweeps on a cluster: the same rows, bit for bit, and what is left when workers or the scheduler are killed.

Scheduler and workers are real processes on loopback, started and stopped by the tests.
"""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from short_sweeps import CHILD, HIT, content, scenario, stored

from binarydyn.commands import main
from binarydyn.ensembles import Backend, cluster, rows_of, tasks
from binarydyn.errors import InputError
from binarydyn.sampling import Block, Grid, Row
from binarydyn.terminal import progress

distributed = pytest.importorskip("distributed")
GRID = Grid.of({"impactor.mass_kg": [300.0, -5.0, 500.0, 700.0, 900.0], "primary.rotation_phase_deg": [0.0, 77.0]})


def in_order(rows) -> str:
    """Every digit of every number: the shortest text that gives the same float back."""
    return repr(sorted(rows, key=lambda row: row.index))


HITS = Grid.of({"impactor.mass_kg": np.linspace(-1.0, 900.0, 150), "primary.rotation_phase_deg": [0.0, 77.0]})


def columns(blocks) -> dict[str, list]:
    """Of all blocks, in the order of members; floats as texts, so that unknown is unknown."""
    parts = list(blocks)
    order = np.argsort(np.concatenate([part.members for part in parts]))
    tables = [{"status": part.status, "reason": part.reason, **part.numbers} for part in parts]
    return {name: list(map(repr, np.concatenate([t[name] for t in tables])[order].tolist())) for name in tables[0]}


class Cluster:
    """A scheduler and its workers, each a process; PYTHONPATH may put something before what they import."""

    def __init__(self, path: str = ""):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        self.environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, [path, os.getcwd()]))}
        place = self.address.removeprefix("tcp://").split(":")
        self.scheduler = self._started("scheduler", "--host", place[0], "--port", place[1], "--no-dashboard")
        self.workers: list[subprocess.Popen] = []

    def worker(self, *words: str) -> subprocess.Popen:
        plain = ["--no-dashboard", "--nthreads", "1", "--memory-limit", "0", "--host", "127.0.0.1"]
        self.workers.append(self._started("worker", self.address, *plain, *(words or ["--no-nanny"])))
        return self.workers[-1]

    def _started(self, what: str, *words: str) -> subprocess.Popen:
        command = [sys.executable, "-m", "dask", what, *words]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        return subprocess.Popen(command, env=self.environment, **quiet)


@contextmanager
def running(workers: int = 2, path: str = ""):
    found = Cluster(path)
    try:
        for _ in range(workers):
            found.worker()
        yield found
    finally:
        for process in (*found.workers, found.scheduler):
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def one_thread() -> str:
    return in_order(rows_of(scenario(), GRID, 1))


def test_two_threads_and_two_workers_give_the_bits_of_one_thread(one_thread, monkeypatch):
    assert in_order(rows_of(scenario(), GRID, 2)) == one_thread
    with running() as found:
        rows = list(rows_of(scenario(), GRID, backend=Backend("cluster", scheduler=found.address)))
        assert in_order(rows) == one_thread
        assert {row.status for row in rows} == {"completed", "bad_input"}
        with distributed.Client(found.address, set_as_default=False) as client:
            assert in_order(rows_of(scenario(), GRID, backend=client)) == one_thread and client.status == "running"
        how = Backend("cluster", scheduler=found.address, table="summary", chaos=True)
        assert columns(rows_of(scenario(), HITS, backend=how)) == columns(
            rows_of(scenario(), HITS, backend=Backend(workers=1, table="summary", chaos=True))
        )
        monkeypatch.setattr(tasks.Asked, "of", lambda *asked, of=tasks.Asked.of: other(of(*asked)))
        with pytest.raises(InputError, match="another state of the package's source .*install the same"):
            list(rows_of(scenario(), GRID, backend=Backend("cluster", scheduler=found.address)))


def other(asked: tasks.Asked) -> tasks.Asked:
    """As if this process had another source than the workers."""
    return replace(asked, identity=(("the package's source", "0" * 12), *asked.identity[1:]))


def listening(children: list[int]) -> dict[str, int]:
    """Addresses (hexadecimal, host byte order) at which some processes listen over TCP, and how often each does."""
    sockets = set()
    for pid in children:
        for name in Path(f"/proc/{pid}/fd").iterdir():
            with suppress(OSError):
                sockets.add(os.readlink(name))
    found = {}
    for table in ("tcp", "tcp6"):
        for line in Path(f"/proc/net/{table}").read_text().splitlines()[1:]:
            words = line.split()
            if words[3] == "0A" and f"socket:[{words[9]}]" in sockets:
                host = words[1].partition(":")[0]
                found[host] = found.get(host, 0) + 1
    return found


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="needs the tables of Linux")
def test_a_cluster_of_this_machine_listens_to_itself_alone():
    """One port for the scheduler, one for each worker and one for what watches over it, all on 127.0.0.1."""
    before = listening([os.getpid()]).get("0100007F", 0)
    with cluster._connected(1, "") as client:
        (worker,) = client.run(os.getpid).values()
        found = listening([os.getpid(), worker])
    assert found == {"0100007F": before + 3}


def test_workers_that_are_started_here_give_the_same_bits(one_thread):
    assert in_order(rows_of(scenario(), GRID, backend=Backend("cluster", 2))) == one_thread


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--backend", "clusters"], '"clusters" is given, allowed is threads or cluster or gpu'),
        (["--scheduler", "tcp://127.0.0.1:9"], "allowed is with cluster"),
        (["--backend", "cluster", "--scheduler", "tcp://127.0.0.1:9", "--workers", "2"], "leave one of them out"),
        (["--backend", "cluster", "--scheduler", "tcp://127.0.0.1:9"], "no scheduler answers there"),
        (["--backend", "cluster", "--scheduler", "what://x"], "no scheduler answers there"),
        (["--backend", "cluster", "--workers", "0"], "allowed is 1 .. 1024"),
        (["--backend", "gpu"], "the summary one; choose that"),
        (["--table", "short"], "allowed is full or summary"),
        (["--refine", "2"], "given with the full table"),
        (["--table", "summary", "--refine", "0.5"], "allowed is 1 .. 100"),
        (["--table", "summary", "--refine", "nan"], "allowed is 1 .. 100"),
        (["--chaos"], "given with the full table"),
        (["--table", "summary", "--vary", "simulation.days_after=5,6"], "--table summary"),
    ],
)
def test_options_that_do_not_fit_are_refused_in_a_line(words, sentence, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(cluster, "CONNECT_S", 0.5)
    assert main(["sweep", "--vary", "impactor.mass_kg=300,400", "--out", str(tmp_path / "s.h5"), *words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and sentence in err
    assert list(tmp_path.iterdir()) == []


def test_a_machine_without_the_library_says_so_in_a_line(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "distributed", None)  # importing it fails as if it were not installed
    words = ["--vary", "impactor.mass_kg=300,400", "--out", str(tmp_path / "s.h5"), "--backend", "cluster"]
    assert main(["sweep", *words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and "pip install 'binarydyn[cluster]'" in err


MANY = Grid.of({"impactor.mass_kg": np.linspace(300.0, 900.0, 40)})
VARY = ["--vary", "impactor.mass_kg=300:900:40"]


def command(tmp_path, found: Cluster, *words: str) -> list[str]:
    file = tmp_path / "pair.toml"
    file.write_text(HIT)
    where = ["--backend", "cluster", "--scheduler", found.address]
    return ["sweep", str(file), *VARY, "--out", str(tmp_path / "swept.h5"), "--json", "--quiet", *where, *words]


def child(*arguments: str) -> subprocess.Popen:
    """The command line in a process of its own, with short blocks and little patience."""
    impatient = CHILD.replace("from binarydyn.commands", "import binarydyn.ensembles.cluster as c; c.PATIENCE_S = 3.0\n"
                              "from binarydyn.commands")  # fmt: skip
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    return subprocess.Popen([sys.executable, "-c", impatient, *arguments], **pipes)


def wait_for_blocks(tmp_path, process: subprocess.Popen, blocks: int) -> None:
    while len(list((tmp_path / "swept.h5.parts").glob("*.rows"))) < blocks:
        assert process.poll() is None, process.communicate()
        time.sleep(0.02)


@pytest.fixture(scope="module")
def uninterrupted(tmp_path_factory) -> dict:
    path = tmp_path_factory.mktemp("whole") / "whole.h5"
    stored(path, MANY)
    return content(path)


def same_rows(path, whole: dict) -> bool:
    """All columns, and all attributes but the place of the scenario's file."""
    found = content(path)
    return {k: v for k, v in found.items() if "@scenario" not in k} == {
        k: v for k, v in whole.items() if "@scenario" not in k
    }


def test_a_worker_that_is_killed_costs_its_tasks_alone_and_without_any_the_sweep_says_so(tmp_path, uninterrupted):
    with running() as found:
        for sweep_of, left in (("one", 1), ("none", 0)):
            folder = tmp_path / sweep_of
            folder.mkdir()
            process = child(*command(folder, found))
            wait_for_blocks(folder, process, 2)
            found.workers[left].send_signal(signal.SIGKILL)
            out, err = process.communicate(timeout=120)
            if left:
                assert process.returncode == 0 and err == ""
                assert json.loads(out)["computed"] == 40
                assert same_rows(folder / "swept.h5", uninterrupted)
    assert process.returncode == 1 and out == "" and err.count("\n") == 1
    assert "no worker for 3 s" in err and "of 40 members saved" in err


def test_a_scheduler_that_is_killed_leaves_what_is_done_and_the_same_command_resumes(tmp_path, uninterrupted):
    with running() as found:
        process = child(*command(tmp_path, found))
        wait_for_blocks(tmp_path, process, 2)
        found.scheduler.send_signal(signal.SIGKILL)
        out, err = process.communicate(timeout=120)
    assert process.returncode == 1 and out == ""
    assert err.startswith("binarydyn: the connection to the cluster's scheduler is lost") and err.count("\n") == 1
    kept = int(err.split("; ")[1].split()[0])
    assert "repeat the command to resume" in err and 10 <= kept < 40
    with running() as found:
        process = child(*command(tmp_path, found))
        out, err = process.communicate(timeout=120)
    report = json.loads(out)
    assert process.returncode == 0 and (report["reused"], report["computed"]) == (kept, 40 - kept)
    assert same_rows(tmp_path / "swept.h5", uninterrupted)


def test_a_member_that_kills_its_workers_is_a_row(tmp_path, monkeypatch):
    """The processes import a sitecustomize that ends them where they predict one certain member."""
    (tmp_path / "sitecustomize.py").write_text(
        "import os, sys\n"
        "if 'worker' in sys.argv or 'spawn_main' in ' '.join(sys.orig_argv):\n"
        "    from binarydyn.sampling import members\n"
        "    real = members.predict\n"
        "    def predict(asked, progress=None):\n"
        "        if asked.impactor.mass_kg == 500.0: os._exit(9)\n"
        "        return real(asked, progress=progress)\n"
        "    members.predict = predict\n"
    )
    monkeypatch.setenv("PYTHONPATH", f"{tmp_path}{os.pathsep}{os.getcwd()}")
    asked, grid = scenario(), Grid.of({"impactor.mass_kg": [300.0, 400.0, 500.0, 600.0, 700.0, 800.0]})
    rows = sorted(rows_of(asked, grid, backend=Backend("cluster", 2)), key=lambda row: row.index)
    assert [row.status for row in rows] == ["completed", "completed", "error", "completed", "completed", "completed"]
    assert "died" in rows[2].reason


def test_progress_counts_rows_and_blocks_and_names_the_failures(monkeypatch, capsys):
    row = Row(0, {}, {}, "contact", "touch")
    block = Block(np.arange(1, 5), {}, np.array(["completed", "contact", "completed", "escape"]), np.array([""] * 4))
    monkeypatch.setattr(progress, "INTERVAL_S", 0.0)
    clock = iter([0.0, 10.0, 10.0, 10.0, 12.0, 12.0, 12.0, 12.0])
    monkeypatch.setattr(progress.time, "monotonic", lambda: next(clock, 12.0))
    assert list(progress.watched(iter([row, block]), 1005, 1000)) == [row, block]
    lines = capsys.readouterr().err.splitlines()
    assert lines[0] == "sweep: 1001 of 1005 members, rate not known yet, 1 failed (1 contact)"
    assert lines[1] == "sweep: 1005 of 1005 members, 2 members/s, 0 s left, 3 failed (2 contact, 1 escape)"
