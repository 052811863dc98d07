"""Where a result comes from: what was asked, by which source, with which libraries; at the root of every file."""

from __future__ import annotations

import platform
import subprocess
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path

import numba
import numpy as np

from .. import _jit
from ..ensembles.identity import meshes_sha256, source_digest
from ..errors import InputError
from ..files.seal import SCHEMA
from ..scenario import Scenario
from ..scenario.wording import CAUTION, one_line

FORMAT = "binarydyn result"
_PACKAGE = Path(_jit.__file__).parent
ATTRIBUTES = frozenset(
    "format schema kind caution created_utc scenario scenario_name scenario_place scenario_folder scenario_sha256 "
    "meshes_sha256 seed package_version source_digest kernel_digest git_state numpy_version numba_version machine "
    "design design_sha256 members tolerance table table_options backend workers gpu".split()
)
"""All that a file may say of itself at its root."""
COUNTS = frozenset(("schema", "members"))
"""Those that are whole numbers; the others are texts."""
_SAME = {
    "kind": "another kind of result",
    "scenario_sha256": "results of another scenario",
    "meshes_sha256": "results of other mesh files",
    "design_sha256": "results of another design",
    "table": "rows of another table",
    "table_options": "rows made with other options of the table",
    "source_digest": "results of another state of the package's source",
    "numpy_version": "results of another version of numpy",
}
"""What all rows of one file must share, so that it reads as if it had been made in one go."""


def attributes(scenario: Scenario, kind: str) -> dict[str, str | int]:
    """Attributes of a file of a kind, `prediction` or `sweep`; what a design adds is not among them."""
    return {
        "format": FORMAT,
        "schema": SCHEMA,
        "kind": kind,
        "caution": CAUTION,
        "created_utc": datetime.now(UTC).isoformat(timespec="seconds"),
        "scenario": scenario.text,
        "scenario_name": one_line(scenario.name),
        "scenario_place": one_line(scenario.place),
        "scenario_folder": one_line(str(scenario.folder.absolute())),
        "scenario_sha256": scenario.sha256,
        "meshes_sha256": meshes_sha256(scenario),
        "seed": str(scenario.sampling.seed) if scenario.sampling else "none: nothing is drawn",
        "package_version": version("binarydyn"),
        "source_digest": source_digest(),
        "kernel_digest": _jit.source_digest,
        "git_state": git_state(),
        "numpy_version": np.__version__,
        "numba_version": numba.__version__,
        "machine": f"{platform.machine()} {platform.system()}",
    }


def made_otherwise(found: dict, wanted: dict) -> str:
    """The first attribute in which what is in a file was not made from the same things; empty if there is none."""
    return next((name for name in _SAME if found.get(name) != wanted.get(name)), "")


def refuse_others(found: dict, wanted: dict, place: str, advice: str) -> None:
    """InputError where what is in a file was not made from the same things."""
    if name := made_otherwise(found, wanted):
        raise InputError(
            place,
            f"it holds {_SAME[name]} ({name} {_short(name, found)}, now {_short(name, wanted)}), "
            f"allowed is to go on with the same; {advice}",
        )


def _short(name: str, given: dict) -> str:
    """Of a hash so much that two of them differ."""
    whole = one_line(str(given.get(name)))
    return whole[:12] if name.endswith(("sha256", "digest")) else whole[:80]


@cache
def git_state() -> str:
    """Commit of the package's checkout, with a word where files differ from it; or why there is none."""
    try:
        _git("ls-files", "--error-unmatch", "_jit.py")
        changed = " with changes" if _git("status", "--porcelain", "--", ".") else ""
        return _git("rev-parse", "HEAD") + changed
    except (OSError, subprocess.SubprocessError):
        return "none: not run from a checkout"


def _git(*words: str) -> str:
    command = ["git", "-C", str(_PACKAGE), *words]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=5.0).stdout.strip()
