"""What a sweep loses when it is killed, when the disk gets full and when bits of its files flip: counted.

Kills are SIGKILL to a process of its own, at random moments; disks are small tmpfs that root mounts; bits are flipped
in copies.  What is compared is every attribute and every dataset, read by h5py alone.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import h5py
import numpy as np

from binarydyn.errors import InputError
from binarydyn.sampling import Block, Grid
from binarydyn.scenario import Scenario
from binarydyn.scenario.scenario import example
from binarydyn.store import SweepStore, open_result

HERE = str(Path(__file__).parent)
MASS = "impactor.mass_kg"
SIMULATED = """
import os, sys, time
from binarydyn.ensembles import threads
from binarydyn.sampling import members
log = os.open(sys.argv[1], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
def note(count):
    os.write(log, f"{count} {time.monotonic()}\\n".encode())
def counted(*given, real=members.predict, **named):
    found = real(*given, **named)
    note(1)
    return found
def counted_block(*given, real=threads.block_of, **named):
    found = real(*given, **named)
    note(len(found))
    return found
members.predict, threads.block_of = counted, counted_block
from binarydyn.commands import main
sys.exit(main(sys.argv[2:]))
"""
"""The command line as it is, but for a line for each member, or batch of them, that is computed: how many and when."""
INVENTED = """
import os, sys
sys.path.insert(0, sys.argv[1])
import campaign
log = os.open(sys.argv[2], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
print("ready", flush=True)
campaign.fill(campaign.Path(sys.argv[3]), campaign.invented_grid(int(sys.argv[4])), log)
"""
"""Rows of a formula, so that the process is in the store all the time."""
AT_ONCE = 256


def content(path: Path) -> dict[str, tuple]:
    """Everything in a file but the time of its making."""
    found = {}

    def note(name: str, thing) -> None:
        for key, value in thing.attrs.items():
            if key not in ("created_utc", "DIMENSION_LIST", "REFERENCE_LIST"):
                found[f"{name}@{key}"] = np.asarray(value).tolist()
        if isinstance(thing, h5py.Dataset):
            values = np.asarray(thing[()])
            found[name] = str(thing.dtype), values.tolist() if values.dtype.kind == "O" else values.tobytes()

    with h5py.File(path, "r") as file:
        note("", file)
        file.visititems(note)
    return found


def asked() -> Scenario:
    short = example().text.split("[simulation]")[0] + "\n[simulation]\ndays_before = 6\ndays_after = 6\n"
    return Scenario.from_text(short, "invented.toml")


def invented_grid(count: int) -> Grid:
    return Grid.of({MASS: np.linspace(300.0, 900.0, count)})


def invented(members: np.ndarray) -> Block:
    ended = members % 7 == 6
    table = {f"quantity_{k}_m": np.where(ended, np.nan, np.sin(members * (k + 1.0))) for k in range(20)}
    said = np.full(len(members), "", dtype=object)
    said[ended] = [f"contact {0.5 * k:.1f} days from the impact" for k in members[ended]]
    return Block(members, table, np.where(ended, "contact", "completed"), said)


def fill(path: Path, design: Grid, log: int | None = None) -> int:
    """Go on with an invented sweep to its end; how many members that took."""
    computed = 0
    with SweepStore(path, asked(), design, block_rows=2 * AT_ONCE) as store:
        left = np.flatnonzero(~store.needless().mask)
        for first in range(0, len(left), AT_ONCE):
            members = left[first : first + AT_ONCE]
            if log is not None:
                os.write(log, f"{len(members)} {time.monotonic()}\n".encode())
            computed += len(members)
            store.keep(invented(members))
        store.finish()
    return computed


@dataclass
class Kills:
    """What happened: moments counted by what was on disk, members computed again in all and at most in one kill."""

    moments: Counter
    again: int = 0
    most: int = 0
    most_of_second: float = 0.0

    def __str__(self) -> str:
        met = ", ".join(f"{count} {word}" for word, count in self.moments.most_common())
        lost = f"{self.again} members computed again, {self.most} at most in one"
        return f"{self.moments.total()} ({met}): {lost}, {self.most_of_second:.2f} s of work at most"


def kills(folder: Path, count: int, seed: int, command: Callable, members: int, sent: signal.Signals = signal.SIGKILL):
    """Send `count` processes a signal after their first row, each on a new file, and let them go on; Kills.

    AssertionError where the file is not that of a run that nobody ended, or where more was lost than a block: what was
    computed within the last second, and what was under way meanwhile (_UNDER_WAY_S).
    """
    whole, log = folder / "whole.h5", folder / "log"
    subprocess.run(command(whole, log), check=True, stdout=subprocess.DEVNULL)
    length, wanted = time.monotonic() - _logged(log)[0][1], content(whole)
    draws, found = random.Random(seed), Kills(Counter())
    while found.moments.total() < count:
        path = folder / f"{found.moments.total()}.h5"
        log.unlink(missing_ok=True)
        process = subprocess.Popen(command(path, log), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        while not _logged(log) and process.poll() is None:
            time.sleep(0.002)
        time.sleep(draws.uniform(0.0, length))
        ended = time.monotonic()
        process.send_signal(sent)
        if process.wait() not in (-sent, 128 + sent):
            path.unlink()
            continue  # it had ended by then
        found.moments[_state(path)] += 1
        computed = _logged(log)
        subprocess.run(command(path, log), check=True, stdout=subprocess.DEVNULL)
        again = sum(number for number, _ in _logged(log)) - members
        last = _last_of(computed, again)
        assert again >= 0 and ended - last <= 1.0 + _UNDER_WAY_S, f"{again} again, of {ended - last:.2f} s"
        assert content(path) == wanted, "the file is not that of one go"
        assert not path.with_name(path.name + ".parts").exists() and not list(folder.glob(".*"))
        found.again, found.most = found.again + again, max(found.most, again)
        found.most_of_second = max(found.most_of_second, ended - last if again else 0.0)
        path.unlink()
    return found


_UNDER_WAY_S = 2.0
"""A batch of summary rows takes a second, and a row that comes late closes its block late."""


def _logged(log: Path) -> list[tuple[int, float]]:
    """How many members were computed when, oldest first."""
    lines = log.read_text().splitlines() if log.exists() else []
    return [(int(count), float(when)) for count, when in map(str.split, lines)]  # a line is one write


def _last_of(computed: list[tuple[int, float]], again: int) -> float:
    """When the oldest of the last `again` members was computed; the end of time where there are none."""
    left, when = again, float("inf")
    for count, moment in reversed(computed):
        if left <= 0:
            break
        left, when = left - count, moment
    return when


def _state(path: Path) -> str:
    parts = path.with_name(path.name + ".parts")
    if path.exists():
        return "between joining and clearing up"
    if (parts / ".joined.tmp").exists():
        return "while joining"
    if any(parts.glob(".*.tmp")):
        return "within a block"
    return "between blocks" if any(parts.glob("*.rows")) else "before the first block"


def simulated_kills(folder: Path, count: int, seed: int = 1, members: int = 120, table: str = "full", **how) -> Kills:
    """Of the command `sweep` with two threads; how: as of kills."""
    file = folder / "pair.toml"
    file.write_text(asked().text)
    words = ["sweep", str(file), "--vary", f"{MASS}=300:900:{members}", "--workers", "2", "--table", table, "--out"]

    def command(path: Path, log: Path) -> list[str]:
        return [sys.executable, "-c", SIMULATED, str(log), *words, str(path)]

    return kills(folder, count, seed, command, members, **how)


def invented_kills(folder: Path, count: int, seed: int = 2, members: int = 60_000) -> Kills:
    """Of a process that does nothing but store rows."""

    def command(path: Path, log: Path) -> list[str]:
        return [sys.executable, "-c", INVENTED, HERE, str(log), str(path), str(members)]

    return kills(folder, count, seed, command, members)


def killed_again_and_again(folder: Path, count: int, seed: int = 4, members: int = 100) -> str:
    """Kill one sweep `count` times, 0.5 to 4 s after the first row of each go; what it computed in all."""
    log, path = folder / "log", folder / "again.h5"
    file = folder / "pair.toml"
    file.write_text(asked().text)
    words = ["sweep", str(file), "--vary", f"{MASS}=300:900:{members}", "--workers", "1", "--out", str(path)]
    draws, kept = random.Random(seed), []
    for _ in range(count):
        before = len(_logged(log))
        process = subprocess.Popen(
            [sys.executable, "-c", SIMULATED, str(log), *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        while process.poll() is None and len(_logged(log)) == before:
            time.sleep(0.01)
        time.sleep(draws.uniform(0.5, 4.0))
        process.kill()
        process.wait()
        kept.append(len(_logged(log)) - before)
    subprocess.run(
        [sys.executable, "-c", SIMULATED, str(log), *words],
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    again = len(_logged(log)) - members
    return f"{count} kills of one sweep of {members}, after {kept} rows: {again} members computed again in all"


# ---- a full disk


def full_disks(folder: Path, sizes_kib: list[int], members: int = 40) -> Counter:
    """Let `sweep` fill small disks, make room, let it go on; how often it ended how.  Root alone can mount them."""
    file = folder / "pair.toml"
    file.write_text(asked().text)
    words = ["sweep", str(file), "--vary", f"{MASS}=300:900:{members}", "--out"]
    subprocess.run(_command(words, folder / "whole.h5", folder), check=True, capture_output=True)
    wanted, found = content(folder / "whole.h5"), Counter()
    for size in sizes_kib:
        disk = folder / "disk"
        disk.mkdir(exist_ok=True)
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}k", "tmpfs", str(disk)], check=True)
        try:
            done = subprocess.run(_command(words, disk / "s.h5", folder), capture_output=True, text=True)
            said = [line for line in done.stderr.splitlines() if not line.startswith("sweep:")]
            assert (done.returncode, len(said)) in ((0, 0), (2, 1)), (done.returncode, done.stderr)
            assert done.returncode == 0 or "No space left on device" in said[0], said
            stage = "blocks" if "parts" in "".join(said) else "the joined file"
            found["enough room" if done.returncode == 0 else f"full at {stage}"] += 1
            subprocess.run(["mount", "-o", "remount,size=64m", str(disk)], check=True)
            subprocess.run(_command(words, disk / "s.h5", folder), check=True, capture_output=True)
            assert content(disk / "s.h5") == wanted, "the file is not that of a large disk"
        finally:
            subprocess.run(["umount", str(disk)], check=True)
    return found


def _command(words: list[str], path: Path, folder: Path) -> list[str]:
    return [sys.executable, "-c", SIMULATED, str(folder / "log"), *words, str(path)]


def can_mount() -> bool:
    """Whether small disks can be had."""
    return os.geteuid() == 0 and shutil.which("mount") is not None and _mounts()


def _mounts() -> bool:
    import tempfile

    with tempfile.TemporaryDirectory() as place:
        if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", place], capture_output=True).returncode:
            return False
        return subprocess.run(["umount", place], capture_output=True).returncode == 0


# ---- damage


def flipped(data: bytes, draws: random.Random) -> bytes:
    """One bit otherwise."""
    changed = bytearray(data)
    changed[draws.randrange(len(data))] ^= 1 << draws.randrange(8)
    return bytes(changed)


def cut(data: bytes, draws: random.Random) -> bytes:
    """The first part of it."""
    return data[: draws.randrange(len(data))]


def damaged_results(path: Path, how: Callable, count: int, seed: int, folder: Path) -> Counter:
    """Open damaged copies of a result and read all of it: `named` or `harmless`; AssertionError for other numbers."""
    data, wanted, draws, found = path.read_bytes(), content(path), random.Random(seed), Counter()
    copy = folder / "copy.h5"
    for _ in range(count):
        copy.write_bytes(how(data, draws))
        try:
            open_result(copy)
            assert content(copy) == wanted, "other numbers, and nobody said so"
            found["harmless"] += 1
        except InputError as error:
            assert str(copy) in str(error) and "no whole result file" in str(error) and "\n" not in str(error)
            found["named"] += 1
    return found


def damaged_blocks(how: Callable, count: int, seed: int, folder: Path, members: int = 4096) -> Counter:
    """Damage a block of an unfinished sweep and go on; AssertionError where the end is not that of an unharmed one."""
    whole, design, draws, found = folder / "w.h5", invented_grid(members), random.Random(seed), Counter()
    fill(whole, design)
    wanted = content(whole)
    with SweepStore(folder / "s.h5", asked(), design, block_rows=512, block_s=1e9) as store:
        for first in range(0, members // 2, AT_ONCE):
            store.keep(invented(np.arange(first, first + AT_ONCE)))
    for k in range(count):
        path = folder / f"{k}.h5"
        parts = Path(shutil.copytree(folder / "s.h5.parts", f"{path}.parts"))
        block = draws.choice(sorted(parts.glob("*.rows")))
        block.write_bytes(how(block.read_bytes(), draws))
        with SweepStore(path, asked(), design) as store:
            assert len(store.damaged) == 1 and block.name[:6] in store.damaged[0], store.damaged
        assert fill(path, design) == members // 2 + 512, "more or less was computed anew than what was damaged"
        assert content(path) == wanted, "other numbers"
        found["named and computed anew"] += 1
        path.unlink()
    return found
