"""The one place where compilation policy is decided: how kernels are compiled and where their machine code is kept."""

import hashlib
import importlib
import sys
from collections.abc import Callable
from importlib.abc import MetaPathFinder, SourceLoader
from importlib.util import spec_from_loader
from pathlib import Path
from types import ModuleType

import numba
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic, overload

from . import _cache

_PACKAGE = Path(__file__).parent
# What a kernel's code may hold, constants too; editing a plot or a command keeps the compiled code.
_KERNEL_ROOMS = ("bodies", "gravity", "motion", "integrators", "dynamics", "observables", "sky", "photometry")
_KERNEL_SOURCES = (
    "*.py",
    *(f"{room}/**/*.py" for room in _KERNEL_ROOMS),
    "batch/accumulate.py",
    "reconstruction/passages.py",
    "reconstruction/dimming.py",
)


def _digest() -> str:
    """Hash of the kernel sources.

    Numba does not notice an edit made in another file, so each state has its own cache.
    """
    paths = [path for pattern in _KERNEL_SOURCES for path in sorted(_PACKAGE.glob(pattern))]
    text = b"".join(path.read_bytes() for path in paths)
    return hashlib.sha256(text + numba.__version__.encode()).hexdigest()[:16]


source_digest = _digest()
cache_folder, why_not_kept = _cache.private_folder(source_digest)
"""Where compiled kernels are kept, or None and the reason."""


def _compiled(function, **options):
    """numba.njit with the package's policy; what it compiles is kept in the package's own cache.

    No fastmath, not even contraction: the compiler would decide anew in each place where a kernel ends up.
    """
    compiled = numba.njit(error_model="numpy", nogil=True, **options)(function)
    if cache_folder and not numba.config.DISABLE_JIT:
        compiled._cache = _cache.KernelCache(function, cache_folder)
    return compiled


def kernel(function):
    """Compile a function on bare numbers and arrays.

    Every operation is done as written, so the bits are the same wherever the kernel is inlined, linked, loaded or
    batched; what may be fused is written as `fma`.  nogil: threads run kernels side by side.
    """
    return _compiled(function, forceinline=False)  # said, or it would be inherited from whatever is compiled around it


def inlined(function):
    """A kernel that disappears into its caller: for the formulae inside a right-hand side."""
    return _compiled(function, forceinline=True)


if numba.config.DISABLE_JIT:  # type: ignore[attr-defined]

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


class _Written(SourceLoader, MetaPathFinder):  # type: ignore[misc]
    """Imports modules of generated kernels by name, so that what numba kept finds them again in a later process.

    Nothing is executed but text that was just written or whose seal fits: no bytecode lies beside it.
    """

    def __init__(self):
        self.package = ModuleType("binarydyn_written")
        self.package.__path__ = []
        self.texts: dict[str, bytes] = {}
        sys.modules[self.package.__name__] = self.package
        sys.meta_path.append(self)

    def find_spec(self, name: str, path=None, target=None):
        """The spec of one of these modules, None for any other."""
        above, _, stem = name.rpartition(".")
        if above != self.package.__name__:
            return None
        if stem not in self.texts:
            text = _cache.read(cache_folder / f"{stem}.py") if cache_folder else None
            if text is None:
                return None
            self.texts[stem] = text
        return spec_from_loader(name, self, origin=self.get_filename(name))

    def get_filename(self, name: str) -> str:
        """Where its text is kept, or would be."""
        return str((cache_folder or Path(f"<{self.package.__name__}>")) / f"{name.rpartition('.')[2]}.py")

    def get_data(self, path: str) -> bytes:
        """The text, as find_spec saw it; OSError for bytecode."""
        if Path(path).suffix != ".py":
            raise OSError
        return self.texts[Path(path).stem]


_written = _Written()


def written_module(name: str, text: Callable[[], str]) -> ModuleType:
    """Import a module of generated kernels, kept in the cache folder from the first time on."""
    full = f"{_written.package.__name__}.{name}"
    if full not in sys.modules and _written.find_spec(full) is None:
        _written.texts[name] = text().encode() + b"# "  # the seal follows
        if cache_folder:
            _cache.write(cache_folder / f"{name}.py", _written.texts[name])
    return importlib.import_module(full)


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
