"""Result files made on purpose, with a seal and hashes that fit: `show`, `merge` and a resumed `sweep`."""

from __future__ import annotations

import contextlib
import json
import os
import random
import sys
import tempfile
from functools import cache
from pathlib import Path

import h5py
import numpy as np
import scenarios
import values

from binarydyn.commands import main
from binarydyn.files.seal import _LINE, sealed
from binarydyn.store.groups import digest
from binarydyn.store.tables.table import ROWS, Recipe

VARY = ["--vary", "impactor.mass_kg=400,500", "--vary", "impactor.speed_km_s=5,6"]
MADE = {
    "prediction": ["predict", "pair.toml", "--nominal", "--out", "x.h5"],
    "sampled": ["predict", "pair.toml", "--table", "summary", "--count", "4", "--out", "x.h5"],
    "sweep": ["sweep", "pair.toml", *VARY, "--out", "x.h5", "--workers", "1", "--quiet"],
    "drawn": [
        "sweep",
        "pair.toml",
        "--sample",
        "random",
        "--count",
        "4",
        "--out",
        "x.h5",
        "--workers",
        "1",
        "--table",
        "summary",
    ],
    "events": ["events", "pair.toml", "--days", "1", "--nominal", "--out", "x.h5"],
}
GROUPS = ("numbers", "changes", "start", "primary", "secondary", "before", "after", "warnings", "design", "events")


@cache
def made(kind: str) -> bytes:
    """The bytes of a result file of a kind."""
    here = os.getcwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            Path("pair.toml").write_text(scenarios.valid_text(sampling=scenarios.EXTRAS["sampling"]))
            with open(os.devnull, "w") as nowhere:
                stdout, stderr, sys.stdout, sys.stderr = sys.stdout, sys.stderr, nowhere, nowhere
                try:
                    code = main(MADE[kind])
                finally:
                    sys.stdout, sys.stderr = stdout, stderr
            assert code == 0, (kind, code)
            return Path("x.h5").read_bytes()
        finally:
            os.chdir(here)


def _odd_attribute(chance: random.Random):
    return chance.choice(
        (
            "",
            "\x1b[31mred\x07",
            "x" * 70000,
            "[" * 30000,
            "{" * 900,
            "{}",
            "[]",
            "nan",
            3,
            -1,
            2**62,
            1.5,
            np.nan,
            np.zeros(5),
            np.bytes_(b"\xff\xfe"),
            True,
            h5py.Empty("f8"),
            '{"sample": "random"}',
            "a b c",
            "member status reason",
            json.dumps([["impactor.mass_kg", [1.0, 2.0]]]),
            json.dumps([["a\x1b", [1.0]]]),
            np.array(["a", "b"], object),
        )
    )


def _changed(chance: random.Random, old: np.ndarray) -> np.ndarray:
    """Other values of one column: of its own shape and kind, or not."""
    kind = chance.randrange(8)
    if kind == 0:
        return np.full_like(old, -1 if old.dtype.kind == "i" else np.nan)
    if kind == 1:
        return np.full_like(old, np.iinfo(old.dtype).max if old.dtype.kind == "i" else np.inf)
    if kind == 2:
        return np.full_like(old, 0)
    if kind == 3:
        return old[..., :-1] if old.ndim else np.zeros(3)
    if kind == 4:
        return old.astype("<f4") if old.dtype.kind == "f" else old.astype("<i2")
    if kind == 5:
        return np.zeros((2, 3, 4))
    if kind == 6:
        return old[::-1] if old.ndim else -old
    return old * (1e300 if old.dtype.kind == "f" else 1000)


def _rehash(file: h5py.File) -> None:
    """Hashes that fit, where the layout still lets them be made."""
    for name in GROUPS:
        if name in file and isinstance(file[name], h5py.Group):
            try:
                group = file[name]
                group.attrs["content_sha256"] = digest(read_group_unchecked(file, name))
            except Exception:
                pass
    if ROWS in file:
        for name, dataset in file[ROWS].items():
            try:
                texts = h5py.check_string_dtype(dataset.dtype) is not None
                recipe = Recipe(name, "text" if texts else dataset.dtype.str, len(dataset))
                recipe.add(dataset.asstr()[()] if texts else dataset[()])
                dataset.attrs["content_sha256"] = recipe.hexadecimal
            except Exception:
                pass


def read_group_unchecked(file: h5py.File, name: str):
    """The columns of a group, whatever their hash."""
    import binarydyn.store.groups as groups

    columns = {}
    for key in file[name].attrs["columns"].split():
        columns[key] = groups._read(file[name], key, groups._dims(name, key))
    return columns


def change(chance: random.Random, file: h5py.File, folder: Path) -> None:
    """One thing in a file."""
    names: list[str] = []
    file.visit(names.append)
    name, kind = chance.choice(names), chance.randrange(12)
    thing = file[name] if chance.random() < 0.7 else file
    if kind in (0, 1):
        own = [key for key in thing.attrs if key not in ("DIMENSION_LIST", "REFERENCE_LIST")]
        if own:
            thing.attrs[chance.choice(own)] = _odd_attribute(chance)
    elif kind == 2 and len(thing.attrs):
        del thing.attrs[chance.choice(list(thing.attrs))]
    elif kind == 3:
        del file[name]
    elif kind in (4, 5, 6, 7) and isinstance(file[name], h5py.Dataset):
        dataset = file[name]
        attributes = {key: value for key, value in dataset.attrs.items() if "_LIST" not in key}
        texts = h5py.check_string_dtype(dataset.dtype) is not None
        new = np.full(dataset.shape, chance.choice(values.TEXTS), object) if texts else _changed(chance, dataset[()])
        del file[name]
        dataset = file.create_dataset(name, data=new, dtype=h5py.string_dtype() if texts else None)
        dataset.attrs.update(attributes)
    elif kind == 8:
        size = chance.choice(((10**11,), (2**62,), (10**6, 10**6), (0,), ()))
        del file[name]
        file.create_dataset(
            name, size, "<f8", chunks=(1024,) if len(size) == 1 and chance.random() < 0.3 and size[0] else None
        )
    elif kind == 9:
        os.path.exists(folder / "pipe") or os.mkfifo(folder / "pipe")
        del file[name]
        file[name] = chance.choice(
            (
                h5py.SoftLink("/numbers"),
                h5py.ExternalLink(str(folder / "pipe"), "/x"),
                h5py.SoftLink("/" + name),
                h5py.ExternalLink("x.h5", "/" + name),
            )
        )
    elif kind == 10:
        del file[name]
        file[name] = file[chance.choice(["/", *(key for key in file)])]
    else:
        file.move(name, f"{name}\x1b[31m")


def case(number: int, folder: Path) -> list[str]:
    """A command that reads such a file."""
    chance = random.Random(f"result {number}")
    kind = chance.choice(list(MADE))
    data = made(kind)
    path = folder / "x.h5"
    path.write_bytes(data[: _LINE.search(data).start()])
    if chance.random() < 0.85:
        with h5py.File(path, "r+") as file:
            for _ in range(chance.choice((1, 1, 2, 3))):
                try:
                    change(chance, file, folder)
                except (KeyError, TypeError, ValueError, OSError, RuntimeError, OverflowError):
                    pass
            if chance.random() < 0.8:
                with contextlib.suppress(RuntimeError, KeyError, OSError):
                    _rehash(file)
        raw = path.read_bytes()
    else:
        raw = values.bytes_of(path.read_bytes(), chance)
    path.write_bytes(sealed(raw) if chance.random() < 0.97 else raw)
    (folder / "pair.toml").write_text(scenarios.valid_text(sampling=scenarios.EXTRAS["sampling"]))
    lines = [["show", "x.h5"]] * 3 + [["show", "x.h5", "--json"], ["show", "x.h5", "--plot", "x.png"]]
    lines += [["merge", "x.h5", "--out", "m.h5"], MADE[kind]]
    return chance.choice(lines)
