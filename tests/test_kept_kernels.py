"""Compiled kernels that are kept: nobody else's are executed, damaged ones are made anew."""

import os
import random
import shutil
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from binarydyn import _cache, _jit

ROOT = Path(__file__).parents[1]
TWICE = "from binarydyn._jit import kernel\n\n\n@kernel\ndef twice(x):\n    return 2.0 * x\n"
PLANTED = "print('planted')\n\n\ndef twice(x):\n    return 7.0\n"
PROGRAM = f"""
from binarydyn._jit import cache_folder, why_not_kept, written_module
print(written_module("twice", lambda: {TWICE!r}).twice(21.0), cache_folder)
print(why_not_kept)
"""


def run(program: str = PROGRAM, **environment: str) -> list[str]:
    """The lines that a program of its own prints, once it has ended well and said nothing on stderr."""
    inherited = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    asked = inherited | {"PYTHONPATH": str(ROOT)} | environment
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=asked)
    assert (done.returncode, done.stderr) == (0, ""), (done.returncode, done.stderr[-2000:])
    return done.stdout.splitlines()


def plant(folder: Path) -> None:
    """A module of somebody else's in a folder, under a seal that fits and with the last line of earlier versions."""
    folder.mkdir(parents=True, exist_ok=True)
    _cache.write(folder / "twice.py", PLANTED.encode() + b"# complete\n# ")
    assert _cache.read(folder / "twice.py")


def test_a_folder_of_ones_own_is_made_and_used_again(tmp_path):
    home = tmp_path / "a" / "b"
    folder = home / "binarydyn" / _jit.source_digest
    assert run(XDG_CACHE_HOME=str(home)) == [f"42.0 {folder}", ""]
    assert [path.stat().st_mode & 0o777 for path in (folder, folder.parent, home)] == [0o700] * 3
    kept = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    assert sorted(Path(name).suffix for name in kept) == [".kernel", ".py"]
    assert run(XDG_CACHE_HOME=str(home)) == [f"42.0 {folder}", ""]
    assert {path.name: path.stat().st_mtime_ns for path in folder.iterdir()} == kept


def test_where_none_can_be_made_nothing_in_the_temporary_folder_is_executed(tmp_path):
    """Planted where an earlier version looked: $TMPDIR/binarydyn-<uid>/<digest>."""
    (tmp_path / "no_folder").write_text("")
    folder = tmp_path / f"binarydyn-{os.getuid()}" / _jit.source_digest
    plant(folder)
    (folder / "twice.py").write_text(PLANTED + "# complete\n")
    before = sorted(tmp_path.rglob("*"))
    said = run(XDG_CACHE_HOME=str(tmp_path / "no_folder"), TMPDIR=str(tmp_path))
    assert said[0] == "42.0 None" and str(tmp_path / "no_folder") in said[1]
    assert sorted(tmp_path.rglob("*")) == before


def _other_owner(leaf: Path) -> None:
    os.chown(leaf, 12345, -1)


def _other_owner_above(leaf: Path) -> None:
    os.chown(leaf.parent, 12345, -1)


def _open(leaf: Path) -> None:
    leaf.chmod(0o755)


def _others_write_above(leaf: Path) -> None:
    leaf.parent.chmod(0o777)


def _others_write_further_above(leaf: Path) -> None:
    leaf.parents[1].chmod(0o707)


def _link(leaf: Path) -> None:
    leaf.rename(leaf.parent / "real")
    leaf.symlink_to("real")


def _link_above(leaf: Path) -> None:
    leaf.parent.rename(leaf.parents[1] / "real")
    leaf.parent.symlink_to("real")


WRONG = {
    _other_owner: "another user",
    _other_owner_above: "another user",
    _open: "open to others (mode 755",
    _others_write_above: "others can write in",
    _others_write_further_above: "others can write in",
    _link: "a link",
    _link_above: "a link",
}


def own_folder(tmp_path: Path) -> Path:
    """The folder that a process takes, made beforehand, with a module that shows whether it was taken."""
    leaf = tmp_path / "cache" / "binarydyn" / _jit.source_digest
    leaf.mkdir(parents=True)
    leaf.chmod(0o700)
    plant(leaf)
    return leaf


def test_the_users_own_folder_is_used(tmp_path):
    """So that the tests below plant where it would count."""
    own_folder(tmp_path)
    assert run(XDG_CACHE_HOME=str(tmp_path / "cache"))[0] == "planted"


@pytest.mark.parametrize("how", WRONG, ids=lambda how: how.__name__.strip("_"))
def test_a_folder_that_is_not_the_users_alone_is_not_used(how, tmp_path):
    if how in (_other_owner, _other_owner_above) and os.geteuid():
        pytest.skip("only root can give a folder to somebody else")
    how(own_folder(tmp_path))
    answer, reason = run(XDG_CACHE_HOME=str(tmp_path / "cache"))
    assert answer == "42.0 None" and WRONG[how] in reason


@pytest.mark.parametrize(
    ("mode", "group", "members", "user", "expected"),
    [
        (0o755, "staff", ["pat", "kim"], 1000, False),
        (0o775, "pat", [], 1000, False),
        (0o775, "pat", ["pat"], 1000, False),
        (0o775, "pat", ["kim"], 1000, True),
        (0o775, "staff", [], 1000, True),
        (0o775, "pat", [], 0, True),
        (0o777, "pat", [], 1000, True),
        (0o1777, "staff", ["kim"], 1000, False),
    ],
)
def test_a_group_of_the_users_own_is_nobody_else(mode, group, members, user, expected, monkeypatch):
    """A umask of 002 with a group for each user, which several distributions set, leaves ~/.cache with mode 775."""
    monkeypatch.setattr(_cache.os, "geteuid", lambda: user)
    monkeypatch.setattr(_cache.pwd, "getpwuid", lambda number: SimpleNamespace(pw_name="pat"))
    monkeypatch.setattr(_cache.grp, "getgrgid", lambda number: SimpleNamespace(gr_name=group, gr_mem=members))
    assert _cache._others_write(SimpleNamespace(st_mode=0o40000 | mode, st_gid=1000)) is expected


def test_a_link_above_the_folder_is_followed_once(tmp_path):
    """~/.cache on another disk is common: what it leads to is what is looked at."""
    (tmp_path / "disk").mkdir()
    (tmp_path / "home").symlink_to("disk")
    assert run(XDG_CACHE_HOME=str(tmp_path / "home"))[0] == f"42.0 {tmp_path}/disk/binarydyn/{_jit.source_digest}"


def _flipped(data: bytes, draws: random.Random) -> bytes:
    changed = bytearray(data)
    changed[draws.randrange(len(data))] ^= 1 << draws.randrange(8)
    return bytes(changed)


def _cut(data: bytes, draws: random.Random) -> bytes:
    return data[: draws.randrange(len(data))]


@pytest.fixture(scope="module")
def kept(tmp_path_factory) -> tuple[Path, list[str]]:
    """A folder with a module and its kernel, and what the process that made them printed."""
    home = tmp_path_factory.mktemp("kept")
    return home, run(XDG_CACHE_HOME=str(home))


@pytest.mark.parametrize("how", [_flipped, _cut, lambda data, draws: b""], ids=["flipped", "cut", "empty"])
def test_what_is_damaged_is_made_anew(how, kept):
    home, answer = kept
    folder, draws = home / "binarydyn" / _jit.source_digest, random.Random(5)
    files = set(folder.iterdir())
    assert sorted(path.suffix for path in files) == [".kernel", ".py"]
    for path in files:
        path.write_bytes(how(path.read_bytes(), draws))
        assert _cache.read(path) is None
    assert run(XDG_CACHE_HOME=str(home)) == answer
    assert all(_cache.read(path) is not None for path in files) and set(folder.iterdir()) == files


def test_every_bit_counts_and_no_file_stands_in_for_another(tmp_path):
    path = tmp_path / "a.kernel"
    _cache.write(path, b"content")
    data = path.read_bytes()
    assert _cache.read(path) == b"content"
    for k in range(8 * len(data)):
        changed = bytearray(data)
        changed[k // 8] ^= 1 << k % 8
        path.write_bytes(changed)
        assert _cache.read(path) is None
    path.write_bytes(data)
    path.rename(tmp_path / "b.kernel")
    assert _cache.read(tmp_path / "b.kernel") is None and _cache.read(path) is None


INTERRUPTED = """
from numba.core.codegen import CodeLibrary
def nothing_yet(library):
    raise RuntimeError("no compiled object yet")
CodeLibrary._get_compiled_object = nothing_yet
"""


def test_what_cannot_be_kept_is_used_all_the_same(tmp_path):
    """After Ctrl-C while it compiled, numba has no object to keep for what it compiles next; the program went down."""
    said = run(INTERRUPTED + PROGRAM, XDG_CACHE_HOME=str(tmp_path))
    assert said[0].startswith("42.0 ")
    assert not list(tmp_path.rglob("*.kernel"))


PREDICTED = """
from binarydyn.prediction import predict
from binarydyn.scenario import example
print(predict(example()).period_change_s.hex())
"""


def test_flipped_machine_code_and_lost_modules_change_no_prediction(tmp_path):
    """Flipped bytes in kept machine code ended the process (signal 11) as long as they were executed as found."""
    home = tmp_path / "binarydyn" / _jit.source_digest
    if _jit.cache_folder is None:
        pytest.skip(f"nothing is kept here: {_jit.why_not_kept}")
    answer = run(PREDICTED)
    shutil.copytree(_jit.cache_folder, home)
    home.parent.chmod(0o700)
    home.chmod(0o700)
    draws = random.Random(8)
    used = sorted(home.glob("*runge_kutta_model*.advance*.kernel"))  # of all models
    damaged = [*used, *home.glob("gravity*.py")]
    for path in damaged:
        path.write_bytes(_flipped(path.read_bytes(), draws))
    for path in home.glob("motion*.py"):
        path.unlink()
    assert run(PREDICTED, XDG_CACHE_HOME=str(tmp_path)) == answer
    assert any(_cache.read(path) is not None for path in used)  # made anew, those that were asked for
