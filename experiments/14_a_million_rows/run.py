"""A million rows of an invented sweep: written, killed, resumed, joined, summarised, shown and plotted.

Rows are made by a formula, without a simulation: what is measured is the store.  Each part runs in a process of its
own, whose largest resident size (getrusage, told by wait4) is printed.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from binarydyn.commands import main
from binarydyn.sampling import Block, Grid, Sample
from binarydyn.scenario import Scenario
from binarydyn.scenario.scenario import example
from binarydyn.store import SweepStore, open_result

MASS, SPEED = "impactor.mass_kg", "impactor.speed_km_s"
SAMPLING = f"""
[sampling]
[sampling.quantities]
"{MASS}" = {{normal = [480.0, 10.0]}}
"{SPEED}" = {{uniform = [5.0, 6.0]}}
"momentum_transfer.beta" = {{lognormal = [2.2, 0.2]}}
"""
BRIEF = ("period_before_h", "period_after_h", "period_change_s", "along_track_dv_mm_s", "separation_min_m")
BRIEF += ("separation_max_m", "libration_max_after_deg", "roll_max_after_deg", "total_mass_kg", "relative_energy_error")
FLAG = "chaotic_after"
AT_ONCE = 512


def asked() -> Scenario:
    return Scenario.from_text(example().text + SAMPLING, "invented.toml")


def design_of(kind: str, count: int) -> Grid | Sample:
    if kind == "grid":
        side = round(count**0.5)
        return Grid.of({MASS: np.linspace(300.0, 900.0, side), SPEED: np.linspace(4.0, 8.0, side)})
    return Sample.of(asked(), "random", count)


def rows(members: np.ndarray, design: Grid | Sample, numbers: int) -> Block:
    """Rows of a formula of the inputs, so that figures show something; one in nine fails with a reason of its own."""
    x = design.inputs(members)
    change = -900.0 * (x[MASS] / 480.0) * (x[SPEED] / 5.4) * x.get("momentum_transfer.beta", 2.2) / 2.2
    failed = np.sin(members * 0.1) > 0.94
    names = [*BRIEF, *(f"quantity_{k}_m" for k in range(len(BRIEF), numbers - 1))]
    table = {name: np.where(failed, np.nan, change * (k + 1.0)) for k, name in enumerate(names)}
    table["period_change_s"] = np.where(failed, np.nan, change)
    table[FLAG] = np.where(failed, -1, (members % 50 == 0).astype(int))
    said = np.full(len(members), "", dtype=object)
    said[failed] = [f"contact {0.001 * (k % 60000):.3f} days from the impact" for k in members[failed]]
    return Block(members, table, np.where(failed, "contact", "completed"), said)


def fill(path: Path, kind: str, count: int, numbers: int, stop: int | None = None) -> None:
    """Go on with a sweep; after `stop` members the process kills itself."""
    design, written = design_of(kind, count), 0
    with SweepStore(path, asked(), design, table="summary" if numbers < 50 else "full") as store:
        left = np.flatnonzero(~store.needless().mask)
        for first in range(0, len(left), AT_ONCE):
            store.keep(rows(left[first : first + AT_ONCE], design, numbers))
            written += AT_ONCE
            if stop and written >= stop:
                os.kill(os.getpid(), 9)
        begun = time.monotonic()
        store.finish()
        print(f"joined in {time.monotonic() - begun:.1f} s", end="; ")


def shown(path: Path, *more: str) -> None:
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["show", str(path), *more]) == 0


def measured(what: str, *arguments: str) -> str:
    """Run a part in a process of its own; what it says, its time and its size."""
    begun = time.monotonic()
    command = [sys.executable, __file__, "--part", what, *arguments]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    said = process.stdout.read().strip()
    _, status, usage = os.wait4(process.pid, 0)  # tells the size of a process that was killed too
    if status not in (0, 9):
        raise SystemExit(f"{what} ended with {status}")
    said = f"{said}, " if said else ""
    return f"{said}{time.monotonic() - begun:.1f} s in all, {usage.ru_maxrss / 1024.0:.0f} MiB resident at most"


def part(what: str, path: Path, kind: str, count: int, numbers: int) -> None:
    begun = time.monotonic()
    if what in ("write", "resume", "nothing"):
        fill(path, kind, count, numbers, count // 2 if what == "write" else None)
    elif what == "show":
        shown(path)
    elif what == "figure":
        shown(path, "--plot", str(path.with_suffix(".png")))
    elif what == "check":
        check(path, kind, count, numbers)
    print(f"{time.monotonic() - begun:.1f} s")


def check(path: Path, kind: str, count: int, numbers: int) -> None:
    """Every number of the file is that of the formula."""
    result, design = open_result(path), design_of(kind, count)
    columns = result.columns
    assert np.array_equal(columns["member"], np.arange(len(design)))
    for name in ("period_change_s", FLAG, "status", "reason", list(columns)[-1]):
        for first in range(0, len(design), 1 << 16):
            members = np.arange(first, min(first + (1 << 16), len(design)))
            block = rows(members, design, numbers)
            wanted = {"status": block.status, "reason": block.reason}.get(name)
            wanted = block.numbers[name] if wanted is None else wanted
            found = columns[name][members]
            assert np.array_equal(found.astype(wanted.dtype), wanted, equal_nan=wanted.dtype.kind == "f"), name
    print("equal to the formula", end="; ")


def whole(kind: str, count: int, numbers: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.h5"
        print(f"{kind}, {count} members, {numbers} numbers a row")
        for what in ("write", "resume", "nothing", "check", "show", "figure"):
            words = {"write": "write half, then kill -9", "nothing": "the same command again"}.get(what, what)
            said = measured(what, "--path", str(path), kind, str(count), str(numbers))
            size = sum(file.stat().st_size for file in Path(folder).rglob("*")) / 2**20
            print(f"  {words:26s} {said}; {size:.0f} MiB on disk", flush=True)


if __name__ == "__main__":
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--part", default="")
    words.add_argument("--path", type=Path)
    words.add_argument("kind", nargs="?", default="")
    words.add_argument("count", nargs="?", type=int, default=1_000_000)
    words.add_argument("numbers", nargs="?", type=int, default=12)
    given = words.parse_args()
    if given.part:
        part(given.part, given.path, given.kind, given.count, given.numbers)
    elif given.kind:
        whole(given.kind, given.count, given.numbers)
    else:
        whole("random", 1_000_000, 12)
        whole("grid", 1_000_000, 12)
        whole("random", 100_000, 100)
