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
ORDER += ["impact", "observables", "sky", "surroundings", "relaxed", "prediction", "sampling", "batch", "ensembles"]
ORDER += ["observing", "inference", "validation", "files", "store", "plots", "terminal", "commands"]
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
