"""What decides the numbers beside what is asked: the state of the source, the libraries, the mesh files."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import numba
import numpy as np

from .. import _jit
from ..errors import InputError
from ..scenario import Scenario
from ..scenario.wording import one_line

_PACKAGE = Path(_jit.__file__).parent
_DECIDE_NOTHING = ("files", "store", "plots", "terminal", "commands", "reference_cases")
"""Folders of the package; whatever else is in it may decide a number."""


@cache
def source_digest() -> str:
    """SHA-256 of all source files that may decide a number, and of numba's version."""
    total = hashlib.sha256(numba.__version__.encode())
    for file in sorted(_PACKAGE.rglob("*.*")):
        name = file.relative_to(_PACKAGE)
        if file.suffix in (".py", ".toml") and name.parts[0] not in _DECIDE_NOTHING:
            total.update(name.as_posix().encode() + b"\0" + file.read_bytes())
    return total.hexdigest()


def meshes_of(scenario: Scenario) -> list[Path]:
    """The mesh files that a scenario names."""
    return [body.polyhedron.path for body in (scenario.primary, scenario.secondary) if body.polyhedron]


def meshes_sha256(scenario: Scenario) -> str:
    """Of the mesh files that a scenario names; InputError where one cannot be read."""
    try:
        meshes = meshes_of(scenario)
        return " ".join(hashlib.sha256(path.read_bytes()).hexdigest() for path in meshes) or "none: ellipsoids"
    except OSError as error:
        raise InputError(scenario.place, f"a mesh file cannot be read ({one_line(str(error))}); check it") from None


def identity(scenario: Scenario) -> dict[str, str]:
    """What two processes must share to give the same rows, by name."""
    return {
        "the package's source": source_digest()[:12],
        "numpy": np.__version__,
        "the mesh files": meshes_sha256(scenario)[:12],
    }
