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
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic, overload

_PACKAGE = Path(__file__).parent
# The files whose text decides what a kernel computes; editing a plot or a command keeps the compiled code.
_KERNEL_SOURCES = ("_jit.py", "vectors.py", "bodies", "gravity", "dynamics", "observables", "ensembles/accumulate.py")


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
    """numba.njit with the package's policy; the numba setting is put back, so other packages keep their own cache.

    No fastmath, not even contraction: the compiler would decide anew in each place where a kernel ends up.
    """
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(cache_folder)
    try:
        return numba.njit(cache=True, error_model="numpy", nogil=True, **options)(function)
    finally:
        numba.config.CACHE_DIR = before


def kernel(function):
    """Compile a function on bare numbers and arrays.

    Every operation is done as written, so the bits are the same wherever the kernel is inlined, linked, loaded or
    batched; what may be fused is written as `fma`.  nogil: threads run kernels side by side.
    """
    return _compiled(function, forceinline=False)  # said, or it would be inherited from whatever is compiled around it


def inlined(function):
    """A kernel that disappears into its caller: for the formulae inside a right-hand side."""
    return _compiled(function, forceinline=True)


if numba.config.DISABLE_JIT:

    def fma(a, b, c):
        """a b + c, here with two roundings: without compilation there is no fused operation."""
        return a * b + c

    def not_negative(i):
        """i itself."""
        return i

    def called_not_copied():
        """Nothing."""

    def wide_vectors():
        """Nothing."""

else:

    @intrinsic
    def fma(context, a, b, c):
        """a b + c with one rounding (IEEE 754-2008 fusedMultiplyAdd), one instruction on any processor since 2013."""
        signature = types.float64(types.float64, types.float64, types.float64)

        def generate(context, builder, signature, arguments):
            return builder.fma(*arguments)

        return signature, generate

    @intrinsic
    def not_negative(context, i):
        """i itself, promised to be >= 0: so the compiler need not allow for indices that count from the end."""
        signature = types.int64(types.int64)

        def generate(context, builder, signature, arguments):
            (i,) = arguments
            assume = cgutils.get_or_insert_function(
                builder.module, ir.FunctionType(ir.VoidType(), [ir.IntType(1)]), "llvm.assume"
            )
            builder.call(assume, [builder.icmp_signed(">=", i, ir.Constant(i.type, 0))])
            return i

        return signature, generate

    @intrinsic
    def called_not_copied(context):
        """Said inside a long kernel: its callers call it.

        Twelve copies of a right-hand side in one step overflow the instruction cache and cost a quarter of the speed.
        """

        def generate(context, builder, signature, arguments):
            builder.function.attributes.add("noinline")

        return types.void(), generate

    @intrinsic
    def wide_vectors(context):
        """Said inside a kernel that works on lanes side by side.

        It may use 512-bit vectors where the processor has them.
        """

        def generate(context, builder, signature, arguments):
            for name in ("prefer-vector-width", "min-legal-vector-width"):
                set.add(builder.function.attributes, f'"{name}"="512"')  # llvmlite's own add knows no valued attributes

        return types.void(), generate


# Written modules are submodules of a package whose folder is the cache, so that numba finds them again by name in a
# later process.
_written = ModuleType("binarydyn_written")
_written.__path__ = [str(cache_folder)]
sys.modules[_written.__name__] = _written


_LAST_LINE = b"# complete\n"


def written_module(name: str, text: Callable[[], str]) -> ModuleType:
    """Import a module of generated kernels from the cache folder.

    It is written there the first time (numba caches only code from files).
    """
    path = cache_folder / f"{name}.py"
    if not path.exists() or not path.read_bytes().endswith(_LAST_LINE):
        draft = path.with_suffix(f".{os.getpid()}.tmp")
        draft.write_bytes(text().encode() + _LAST_LINE)
        os.replace(draft, path)
        importlib.invalidate_caches()
    return importlib.import_module(f"{_written.__name__}.{name}")


def entry_points(stem: str, number: int, source: str, **kernels: str) -> ModuleType:
    """Compiled entry points of one gravity model, each cached on disk.

    They are kernels of the module `source` (its name below the package) with the model's number as first, literal
    argument; `kernels` gives their names and other arguments.
    """
    above, _, name = source.rpartition(".")

    def text() -> str:
        head = f'"""Entry points of {source}, gravity model {number}: written by binarydyn._jit."""\n\n'
        head += f"from binarydyn._jit import kernel\nfrom binarydyn.{above} import {name}\n"
        return head + "".join(
            f"\n\n@kernel\ndef {kernel}({arguments}):\n    return {name}.{kernel}({number}, {arguments})\n"
            for kernel, arguments in kernels.items()
        )

    return written_module(f"{stem}_{number}", text)


def by_model(module: Callable[[int], ModuleType], name: str):
    """A function f(model, ...) that stands for the kernel `name` of module(model).

    Inside compiled code, with a literal model, it is a direct call of that kernel, so one source serves every model and
    the disk cache works; in Python it looks the kernel up.
    """

    def chosen(model, *arguments):
        return getattr(module(int(model)), name)(*arguments)

    @overload(chosen, jit_options={"error_model": "numpy", "forceinline": True})
    def _(model, *arguments):
        if not isinstance(model, types.IntegerLiteral):
            return None
        kernel = getattr(module(model.literal_value), name)

        def call(model, *arguments):
            return kernel(*arguments)

        return call

    return chosen
