"""Rows of a sweep under way: each block a closed file whose name holds the hash of its bytes, in one locked folder.

A kill at any moment leaves whole blocks and perhaps a temporary file, never half a block that looks like one.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO

import numpy as np

from ..ensembles import Block, Design, Row
from ..errors import InputError
from ..scenario.wording import one_line
from .files import image, opened, put, sync_folder
from .groups import Column, read_group, write_group

ROWS = "members"
_NAME = re.compile(r"(\d{6,})-([0-9a-f]{64})\.h5")


class Blocks:
    """The folder of one sweep's blocks, held by one process at a time."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.damaged: list[str] = []
        self._lock: IO | None = None

    def acquire(self) -> None:
        """Make the folder and lock it.  InputError while another process has it; a dead one does not hold it."""
        while self._lock is None:
            lock = self._opened_lock()
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                lock.close()
                raise InputError(
                    one_line(str(self.folder)), "another process writes this sweep; wait for it or name another file"
                ) from None
            if _is_still(lock, self.folder / "lock"):
                self._lock = lock
            else:
                lock.close()
        for draft in self.folder.glob(".*.tmp"):
            draft.unlink(missing_ok=True)

    def _opened_lock(self) -> IO:
        try:
            self.folder.mkdir(exist_ok=True)
            return open(self.folder / "lock", "w")
        except OSError as error:
            raise InputError(
                one_line(str(self.folder)),
                f"this folder for blocks cannot be made ({error.strerror}); name another file",
            ) from None

    def release(self) -> None:
        """Give the lock back; a folder without a block goes."""
        if self._lock is None:
            return
        if not any(self.folder.glob("*.h5")):
            self._remove_folder()
        self._lock.close()
        self._lock = None

    def remove(self) -> None:
        """Delete all blocks, once they are joined."""
        for path in self._paths():
            path.unlink()
        self._remove_folder()

    def _remove_folder(self) -> None:
        (self.folder / "lock").unlink(missing_ok=True)
        try:
            self.folder.rmdir()
        except OSError:
            pass  # somebody put a file of his own in it, or another process has just come

    def append(self, rows: Sequence[Row | Block], attributes: dict) -> None:
        """Write rows, or several blocks of them, as the next block."""

        def fill(file) -> None:
            file.attrs.update(attributes)
            write_group(file, ROWS, columns_of(rows))

        data = image(fill)
        number = max((int(_NAME.fullmatch(path.name)[1]) for path in self._paths()), default=0) + 1
        put(self.folder / f"{number:06d}-{hashlib.sha256(data).hexdigest()}.h5", data)

    def read(self) -> Iterator[tuple[dict, dict[str, Column]]]:
        """Attributes and columns of each block; a damaged one is noted, deleted and left out."""
        for path in self._paths():
            data = path.read_bytes()
            if hashlib.sha256(data).hexdigest() != _NAME.fullmatch(path.name)[2]:
                self.damaged.append(
                    f"block {path.name[:6]} is damaged (its SHA-256 differs); its rows are computed anew"
                )
                path.unlink()
                sync_folder(self.folder)
                continue
            with opened(data) as file:
                yield dict(file.attrs), read_group(file, ROWS)

    def _paths(self) -> list[Path]:
        return sorted(path for path in self.folder.glob("*.h5") if _NAME.fullmatch(path.name))


def _is_still(lock: IO, path: Path) -> bool:
    """Whether the locked file is the one in the folder: the last holder may have removed it in the meantime."""
    try:
        return os.path.samestat(os.fstat(lock.fileno()), os.stat(path))
    except OSError:
        return False


def columns_of(parts: Sequence[Row | Block]) -> dict[str, Column]:
    """Rows, one by one or many at once, as columns: member, status, reason and every number, unknown where none is."""
    tables = [_columns_of_block(part) for part in parts if isinstance(part, Block)]
    if rows := [part for part in parts if isinstance(part, Row)]:
        tables.append(_columns_of_rows(rows))
    if len(tables) == 1:
        return tables[0]
    names = dict.fromkeys(name for table in sorted(tables, key=len, reverse=True) for name in table)
    return {name: Column(("member",), np.concatenate([part_of(table, name) for table in tables])) for name in names}


def part_of(table: dict[str, Column], name: str) -> np.ndarray:
    """A column of some rows, unknown throughout if none of them had a prediction."""
    return (table[name] if name in table else Column.of(name, [None] * len(table["member"].values))).values


def _columns_of_block(block: Block) -> dict[str, Column]:
    plain = {"member": block.members, "status": block.status, "reason": block.reason, **block.numbers}
    return {name: Column.of(name, np.asarray(values), "member") for name, values in plain.items()}


def _columns_of_rows(rows: Sequence[Row]) -> dict[str, Column]:
    names = [name for name in max((row.numbers for row in rows), key=len) if name != "status"]
    plain = {
        "member": [row.index for row in rows],
        "status": [row.status for row in rows],
        "reason": [row.reason for row in rows],
    }
    plain |= {name: [row.numbers.get(name) for row in rows] for name in names}
    return {name: Column.of(name, values, "member") for name, values in plain.items()}


def table_of(parts: Sequence[Row | Block], design: Design) -> dict[str, np.ndarray]:
    """Rows, in the order of members, as the arrays that a stored sweep has, with what the design varied."""
    columns = {name: column.values for name, column in columns_of(parts).items()}
    order = np.argsort(columns["member"])
    varied = [design.member(k) for k in columns["member"][order].tolist()]
    inputs = {key: np.array([one[key] for one in varied]) for key in design.keys}
    return {"member": columns.pop("member")[order]} | inputs | {name: x[order] for name, x in columns.items()}
