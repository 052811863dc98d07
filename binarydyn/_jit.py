"""The one place where compilation policy is decided: how kernels are compiled and where their machine code is kept."""

import hashlib
import importlib
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numba

_PACKAGE = Path(__file__).parent
# The files whose text decides what a kernel computes; editing a plot or a command keeps the compiled code.
_KERNEL_SOURCES = ("_jit.py", "vectors.py", "bodies", "gravity", "dynamics", "observables")


def _digest() -> str:
    """Hash of the kernel sources.

    Numba does not notice an edit made in another file, so each state has its own cache.
    """
    paths = []
    for name in _KERNEL_SOURCES:
        path = _PACKAGE / name
        paths += sorted(path.rglob("*.py")) if path.is_dir() else [path]
    text = b"".join(path.read_bytes() for path in paths)
    return hashlib.sha256(text + numba.__version__.encode()).hexdigest()[:16]


def _cache_folder() -> Path:
    """The first folder of the user's that can be written.

    NUMBA_CACHE_DIR, XDG_CACHE_HOME, ~/.cache, else a temporary one.
    """
    wanted = os.environ.get("NUMBA_CACHE_DIR") or Path(os.environ.get("XDG_CACHE_HOME") or "~/.cache").expanduser()
    for base in (Path(wanted) / "binarydyn", Path(tempfile.gettempdir()) / f"binarydyn-{os.getuid()}"):
        try:
            folder = base / source_digest
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return folder
    return Path(tempfile.mkdtemp(prefix="binarydyn-"))


source_digest = _digest()
cache_folder = _cache_folder()


def _compiled(function, **options):
    """numba.njit with the package's policy; the numba setting is put back, so other packages keep their own cache."""
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(cache_folder)
    try:
        return numba.njit(cache=True, error_model="numpy", fastmath={"contract"}, nogil=True, **options)(function)
    finally:
        numba.config.CACHE_DIR = before


def kernel(function):
    """Compile a function on bare numbers and arrays.

    fastmath `contract` only: fused multiply-adds, but no reordering, so scalar and batched code give the same bits.
    nogil: threads run kernels side by side.
    """
    return _compiled(function)


def inlined(function):
    """A kernel that disappears into its caller: for the formulae inside a right-hand side."""
    return _compiled(function, forceinline=True)


# Written modules are submodules of a package whose folder is the cache, so that numba finds them again by name in a
# later process.
_written = ModuleType("binarydyn_written")
_written.__path__ = [str(cache_folder)]
sys.modules[_written.__name__] = _written


def written_module(name: str, text: Callable[[], str]) -> ModuleType:
    """Import a module of generated kernels from the cache folder.

    It is written there the first time (numba caches only code from files).
    """
    path = cache_folder / f"{name}.py"
    if not path.exists():
        draft = path.with_suffix(f".{os.getpid()}.tmp")
        draft.write_text(text(), encoding="utf-8")
        os.replace(draft, path)
        importlib.invalidate_caches()
    return importlib.import_module(f"{_written.__name__}.{name}")
