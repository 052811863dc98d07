"""The package reads in one direction: each subpackage may import only those before it; and importing it stays light."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import binarydyn.constants

ORDER = [
    "_cache",
    "_jit",
    "constants",
    "errors",
    "notebook",
    "renamed",
    "vectors",
    "columns",
    "kinds",
    "lazy",
    "kepler",
    "epochs",
    "units",
    "scenario",
    "bodies",
    "gravity",
    "motion",
    "integrators",
    "dynamics",
]
ORDER += [
    "impact",
    "observables",
    "sky",
    "timing",
    "photometry",
    "surroundings",
    "relaxed",
    "prediction",
    "sampling",
    "batch",
    "ensembles",
]
ORDER += [
    "observing",
    "reconstruction",
    "inference",
    "inversion",
    "validation",
    "files",
    "store",
    "plots",
    "terminal",
    "commands",
]
PACKAGE = Path(binarydyn.constants.__file__).parent
FILES = sorted(PACKAGE.rglob("*.py"))


def imports(path: Path):
    """Yield the full dotted name of everything a file imports, at its head or inside a function."""
    here = ("binarydyn", *path.relative_to(PACKAGE).with_suffix("").parts)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = here[: -node.level] if node.level else ()
            stem = ".".join((*above, *filter(None, [node.module])))
            yield from (f"{stem}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_imports_flow_one_way(path):
    here = path.relative_to(PACKAGE).with_suffix("").parts[0]
    if here in ("__init__", "__main__"):
        return
    for name in imports(path):
        package, *rest = name.split(".")
        if package == "binarydyn":
            assert rest and rest[0] in ORDER, f"{here} goes through the front door: {name}"
            assert ORDER.index(rest[0]) <= ORDER.index(here), f"{here} imports a later subpackage: {name}"


def test_every_subpackage_has_its_place_in_the_order():
    names = {p.stem for p in PACKAGE.iterdir() if p.suffix == ".py" or (p / "__init__.py").exists()}
    assert names - {"__init__", "__main__"} <= set(ORDER)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_only_plots_imports_matplotlib(path):
    here = path.relative_to(PACKAGE).with_suffix("").parts[0]
    if here != "plots":
        assert not [name for name in imports(path) if name.split(".")[0] == "matplotlib"]


def test_importing_the_package_leaves_matplotlib_alone():
    """Import time: a figure is drawn by few runs, so nothing may load the drawing library before it draws."""
    code = "import sys, binarydyn, binarydyn.dynamics, binarydyn.gravity; sys.exit('matplotlib' in sys.modules)"
    environment_path = str(PACKAGE.parent)
    done = subprocess.run([sys.executable, "-c", code], cwd=environment_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def _modules() -> dict[str, Path]:
    """Every module by its dotted name."""
    parts = {path: ("binarydyn", *path.relative_to(PACKAGE).with_suffix("").parts) for path in FILES}
    return {".".join(name[:-1] if name[-1] == "__init__" else name): path for path, name in parts.items()}


def _imported(path: Path, modules: dict[str, Path]) -> set[str]:
    """Modules of the package that a file imports anywhere, for types alone too; a name belongs to its module."""
    return {name if name in modules else name.rpartition(".")[0] for name in imports(path)} & set(modules)


def test_no_module_imports_itself_by_way_of_others():
    """Modules whose imports are all resolved are taken away until none is left; a circle never gets empty."""
    modules = _modules()
    left = {name: _imported(path, modules) - {name} for name, path in modules.items()}
    while ready := {name for name, needs in left.items() if not needs}:
        left = {name: needs - ready for name, needs in left.items() if name not in ready}
    assert not left, f"imports in a circle among {sorted(left)}"


def test_a_room_is_small_enough_to_be_overlooked():
    """Eighteen files beside its __init__ (a rule of this project)."""
    rooms: dict[Path, int] = {}
    for path in FILES:
        rooms[path.parent] = rooms.get(path.parent, 0) + (path.name != "__init__.py")
    crowded = {room.relative_to(PACKAGE).as_posix(): n for room, n in rooms.items() if n > 18}
    assert not crowded


def _functions():
    """Every function with its place, whether it is a kernel, its lines without the docstring, and its arguments."""
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                first = node.body[0]
                says = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
                begin = first.end_lineno + 1 if says else first.lineno
                given = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
                compiled = any("kernel" in ast.unparse(d) or "inlined" in ast.unparse(d) for d in node.decorator_list)
                place = f"{path.relative_to(PACKAGE)}:{node.name}"
                yield place, compiled, node.end_lineno - begin + 1, [a for a in given if a not in ("self", "cls")]


def test_functions_fit_on_a_screen_and_take_few_arguments():
    """Half of them at most 6 lines, nine in ten at most 18, none above 60; ten arguments, but of kernels."""
    found = list(_functions())
    lengths = sorted(lines for _, _, lines, _ in found)
    assert lengths[len(lengths) // 2] <= 6 and lengths[int(0.9 * len(lengths))] <= 18
    assert not [place for place, _, lines, _ in found if lines > 60]
    asked = {place for place, compiled, _, names in found if len(names) > 10 and not compiled}
    assert not asked
