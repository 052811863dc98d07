"""Sweeps short enough to be run many times, and what is compared of two files."""

import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np

from binarydyn.ensembles import rows_of
from binarydyn.sampling import Grid
from binarydyn.scenario import Scenario
from binarydyn.store import SweepStore

PAIR = """
name = "an invented system"
[primary]
semi_axes_m = [271.0, 262.0, 246.0]
density_kg_m3 = 3120.0
spin_period_h = 2.03
[secondary]
semi_axes_m = [70.0, 61.5, 48.0]
density_kg_m3 = 3120.0
[mutual_orbit]
separation_m = 821.0
period_h = 10.42
[simulation]
days_before = 6.0
days_after = 6.0
"""
HIT = (
    PAIR
    + """
[impactor]
mass_kg = 480.0
speed_km_s = 5.4
direction = {along_track = -0.96, radial = 0.15, normal = -0.24}
"""
)
PUSH = PAIR + "[velocity_change]\nalong_track_mm_s = -1.0\n"
CHILD = """
import functools, sys, binarydyn.store
store = binarydyn.store.SweepStore
store.__init__ = functools.partialmethod(store.__init__, block_rows=5, block_s=1e9)
from binarydyn.commands import main
sys.exit(main(sys.argv[1:]))
"""
"""The command line as it is, but for shorter blocks, so that there is something to interrupt."""


def scenario(text: str = HIT) -> Scenario:
    return Scenario.from_text(text, "pair.toml")


def stored(path: Path, design: Grid, text: str = HIT, stop_after: int | None = None, workers: int = 2, rows: int = 4):
    """Run a sweep into a file, or leave it after some rows; the open result, or None."""
    asked = scenario(text)
    with SweepStore(path, asked, design, block_rows=rows, block_s=1e9) as store:
        for count, row in enumerate(rows_of(asked, design, workers, store.done()), 1):
            store.keep(row)
            if count == stop_after:
                return None
        return store.finish()


def content(path: Path) -> dict[str, tuple]:
    """Everything in a file but when and where it was made: each attribute, each dataset with its kind and its bytes."""
    found = {}

    def note(name: str, thing: h5py.Group | h5py.Dataset) -> None:
        for key, value in thing.attrs.items():
            if key not in ("created_utc", "backend", "workers", "DIMENSION_LIST", "REFERENCE_LIST"):
                found[f"{name}@{key}"] = np.asarray(value).tolist()
        if isinstance(thing, h5py.Dataset):
            is_text = h5py.check_string_dtype(thing.dtype) is not None
            values = thing.asstr()[()].tolist() if is_text else thing[()].tobytes()
            found[name] = (str(thing.dtype), thing.shape, values)

    with h5py.File(path, "r") as file:
        note("", file)
        file.visititems(note)
    return found


def child(*arguments: str) -> subprocess.Popen:
    """The command line in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
