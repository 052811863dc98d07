"""Where compiled kernels are kept between runs: a folder that is the user's alone, each file in it under a seal.

What lies there is executed.  So a folder in which anybody else could have put something is not used, nor looked at; and
a file that was cut short or damaged is not read but made anew.  The seal is against damage alone: who can write in the
folder can seal too, which is why nobody else may.
"""

from __future__ import annotations

import grp
import hashlib
import inspect
import os
import pickle
import pwd
import stat
import sys
import tempfile
import warnings
from contextlib import suppress
from functools import cache
from operator import attrgetter
from pathlib import Path

import numba
from numba.core.caching import FunctionCache
from numba.core.compiler import CompileResult
from numba.core.serialize import dumps

_DIGEST_LENGTH = 64
_ROOT = 0


def wanted_folder() -> Path:
    """NUMBA_CACHE_DIR, XDG_CACHE_HOME or ~/.cache, links followed.  RuntimeError where there is no home folder."""
    named = os.environ.get("NUMBA_CACHE_DIR") or os.environ.get("XDG_CACHE_HOME")
    return Path(os.path.realpath(named or Path("~/.cache").expanduser()))


def private_folder(name: str) -> tuple[Path | None, str]:
    """The folder `name` of ours, or None and why it cannot be used."""
    try:
        folder = wanted_folder() / "binarydyn" / name
        reason = _refusal(folder)
    except (OSError, RuntimeError) as error:
        return None, str(error)
    return (None, reason) if reason else (folder, "")


def _refusal(folder: Path) -> str:
    """Make a folder and what is missing above it; why it is not the user's alone, empty where it is.

    From the root down, each part is looked at once it is there: below parts that passed nobody else can change any.
    """
    for place in (*reversed(folder.parents), folder):
        if not os.path.lexists(place):
            with suppress(FileExistsError):  # another process, perhaps of somebody else, was faster
                place.mkdir(mode=0o700)
        seen = place.lstat()
        if not stat.S_ISDIR(seen.st_mode):
            return f"{place} is a link or no folder"
        if seen.st_uid != os.geteuid() and (place == folder or seen.st_uid != _ROOT):
            return f"{place} belongs to another user"
        if place == folder and stat.S_IMODE(seen.st_mode) & 0o777 != 0o700:
            return f"{place} is open to others (mode {stat.S_IMODE(seen.st_mode):o}, 700 is needed)"
        if _others_write(seen):
            return f"others can write in {place}"
    return ""


def _others_write(seen: os.stat_result) -> bool:
    """Whether anybody else may put things into a folder, or replace what is in it.

    A group of the user's own name without further members, as many systems give to each user, is nobody else.
    """
    if seen.st_mode & stat.S_ISVTX:
        return False
    return bool(seen.st_mode & 0o002) or bool(seen.st_mode & 0o020) and not _is_own_group(seen.st_gid)


def _is_own_group(number: int) -> bool:
    try:
        user, group = pwd.getpwuid(os.geteuid()).pw_name, grp.getgrgid(number)
    except KeyError:
        return False
    return os.geteuid() != _ROOT and group.gr_name == user and set(group.gr_mem) <= {user}


def read(path: Path) -> bytes | None:
    """What was written under this name; None where there is nothing, or something else."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    content, digest = data[:-_DIGEST_LENGTH], data[-_DIGEST_LENGTH:]
    return content if digest == _digest(path, content) else None


def write(path: Path, content: bytes) -> None:
    """Keep something, whole or not at all; on a full disk it is not kept."""
    with suppress(OSError):
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=".")
        try:
            with open(handle, "wb") as file:
                file.write(content + _digest(path, content))
            os.replace(draft, path)
        finally:
            with suppress(OSError):
                os.unlink(draft)


def _digest(path: Path, content: bytes) -> bytes:
    """The name is hashed too, so that no file stands in for another."""
    return hashlib.sha256(path.name.encode() + b"\0" + content).hexdigest().encode()


class KernelCache(FunctionCache):
    """What numba compiles of one function, a sealed file for each signature.

    In place of numba's own files, whose bytes are executed as they are found.  The name of a file is the hash of all
    that decides its content, so no index is needed, which two processes could write at once.
    """

    def __init__(self, function, folder: Path):
        self._py_func, self._folder = function, folder
        self._stem = f"{function.__module__}.{function.__qualname__}".replace("<locals>", "_")
        line = function.__code__.co_firstlineno
        self._decides = (numba.__version__, sys.version, _source(inspect.getfile(function)), line)
        self.enable()

    @property
    def cache_path(self) -> str:
        """The folder, for numba's statistics."""
        return str(self._folder)

    def flush(self) -> None:
        """Forget what is kept."""
        for path in self._folder.glob(f"{self._stem}-*.kernel"):
            path.unlink(missing_ok=True)

    def load_overload(self, sig, target_context):
        """The compiled function, None where it has to be compiled."""
        target_context.refresh()
        content = read(self._path(sig, target_context.codegen())) if self._enabled else None
        if content is None:
            return None
        try:
            return CompileResult._rebuild(target_context, *pickle.loads(content))
        except Exception:  # whole, but what it refers to is gone, such as a written module
            return None

    def save_overload(self, sig, data) -> None:
        """Keep a compiled function."""
        lifted, code = attrgetter("lifted", "library")(data)
        if lifted or code.has_dynamic_globals:
            warnings.warn(f"{self._stem} refers to addresses in memory: it is compiled anew each time", stacklevel=2)
        elif self._enabled:
            with suppress(RuntimeError):  # an interrupted compilation left a library without its object: good to use
                write(self._path(sig, data.codegen), dumps(data._reduce()))

    def _path(self, sig, codegen) -> Path:
        words = repr((self._decides, self._index_key(sig, codegen)))
        return self._folder / f"{self._stem}-{hashlib.sha256(words.encode()).hexdigest()[:24]}.kernel"


@cache
def _source(file: str) -> str:
    """Hash of a source file; empty for a written module that is not on disk, which follows from the package's own."""
    try:
        return hashlib.sha256(Path(file).read_bytes()).hexdigest()
    except OSError:
        return ""
