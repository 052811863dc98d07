"""Puts one wrong operator at a time into a copy of the package and runs the tests of its area: which survive?

python experiments/19_what_the_tests_notice/run.py [--count 60] [--seed 1] [--only GLOB] [--seen FOLDER] [--first N]

--seen names a folder with a run of all tests under coverage (areas.Seen says how it is made); then a mutant is shown
only to tests that run its line.
"""

from __future__ import annotations

import argparse
import fnmatch
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue

sys.path.insert(0, str(Path(__file__).parent))
from areas import AREAS, NAMED, Seen, tests_of
from mutants import Mutant, mutants_of

ROOT = Path(__file__).resolve().parents[2]
LIMIT_S = 900
"""A mutant whose tests take more processor time is killed by time: an endless loop is noticed by whoever runs them."""

MOST_S = 240.0
"""Tests that run a line are asked until they have lasted so long together, the shortest first."""


def main() -> int:
    asked = argparse.ArgumentParser()
    asked.add_argument("--count", type=int, default=60)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", default="*")
    asked.add_argument("--seen", default="")
    asked.add_argument("--first", type=int, default=0, help="how many to pass over, those of a run that was stopped")
    asked.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked = asked.parse_args()
    chosen = _chosen(asked.only, asked.count, asked.seed)
    if asked.only == "*":
        chosen = [found for path, text in NAMED for found in _named(path, text)] + chosen
    chosen = chosen[asked.first :]
    seen = Seen(Path(asked.seen), ROOT) if asked.seen else None
    desks: Queue[Path] = Queue()
    with tempfile.TemporaryDirectory() as name:
        for k in range(asked.workers):
            desks.put(_desk(Path(name) / f"desk{k}"))
        with ThreadPoolExecutor(asked.workers) as pool:
            outcomes = list(pool.map(lambda mutant: _tried(mutant, desks, seen), chosen))
    killed = sum(outcome != "SURVIVED" for outcome in outcomes)
    print(f"{killed} of {len(chosen)} killed, seed {asked.seed}")
    return 0


def _chosen(only: str, count: int, seed: int) -> list[Mutant]:
    """Mutants drawn evenly from all operators of the areas; a place is drawn once."""
    paths = [p.relative_to(ROOT).as_posix() for p in sorted((ROOT / "binarydyn").rglob("*.py"))]
    every = [
        mutant for path in paths if tests_of(path) and fnmatch.fnmatch(path, only) for mutant in mutants_of(ROOT, path)
    ]
    print(f"{len(every)} operators in {len({m.path for m in every})} files of {len(AREAS)} areas", flush=True)
    return random.Random(seed).sample(every, min(count, len(every)))


def _named(path: str, text: str) -> list[Mutant]:
    """The first operator of the line that holds a text."""
    found = [m for m in mutants_of(ROOT, path) if text in (ROOT / path).read_text().splitlines()[m.line - 1]]
    return found[:1]


def _desk(folder: Path) -> Path:
    """A copy of package and tests in which one file at a time is changed, with compiled kernels of its own."""
    for part in (
        "binarydyn",
        "tests",
        "reference_cases",
        "experiments",
        "pyproject.toml",
        "README.md",
        "DEVELOPERS.md",
    ):
        whole = ROOT / part
        if whole.is_dir():
            shutil.copytree(whole, folder / part, ignore=shutil.ignore_patterns("__pycache__", "*.png", "*.h5"))
        else:
            shutil.copy(whole, folder / part)
    (folder / "cache").mkdir(mode=0o700)
    return folder


def _tried(mutant: Mutant, desks: Queue, seen: Seen | None) -> str:
    """Put it in, run the tests of its area until one fails, take it out; says what came of it."""
    desk = desks.get()
    file = desk / mutant.path
    original, times, begun = file.read_bytes(), file.stat(), time.monotonic()
    fresh = tempfile.mkdtemp(dir=desk)
    try:
        mutant.put_into(desk)
        kernels = "_jit import" in original.decode()
        tests = seen.asked(mutant.path, mutant.line, MOST_S) if seen and not kernels else []
        tests = tests or [f"tests/{name}.py" for name in tests_of(mutant.path)]
        outcome = _outcome(desk, Path(fresh) if kernels else desk / "cache", tests)
    finally:
        file.write_bytes(original)
        os.utime(file, ns=(times.st_atime_ns, times.st_mtime_ns))
        shutil.rmtree(fresh)
        desks.put(desk)
    print(f"{outcome:40s} {time.monotonic() - begun:5.0f} s  {mutant}", flush=True)
    return outcome


def _outcome(desk: Path, cache: Path, tests: list[str]) -> str:
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:xdist", "-p", "no:cacheprovider", "-o", "addopts="]
    where = os.environ | {"PYTHONPATH": str(desk), "XDG_CACHE_HOME": str(cache), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [*command, *tests],
        cwd=desk, env=where, capture_output=True, text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (LIMIT_S, LIMIT_S)),
    )  # fmt: skip
    if done.returncode == 0:
        return "SURVIVED"
    if done.returncode == -signal.SIGKILL:
        return "killed by time"
    first = re.search(r"^(?:FAILED|ERROR) tests/(\S+)", done.stdout, re.MULTILINE)
    return f"killed by {first.group(1)[:60]}" if first else f"killed (exit {done.returncode})"


if __name__ == "__main__":
    sys.exit(main())
