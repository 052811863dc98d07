"""Rows of a sweep under way: each block a closed file whose name holds the hash of its bytes, in one locked folder.

A kill at any moment leaves whole blocks and perhaps a temporary file, never half a block that looks like one.
"""

from __future__ import annotations

import errno
import fcntl
import hashlib
import os
import re
import stat
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np

from ...errors import InputError
from ...files.whole import put, sync_folder
from ...kinds import sure
from ...sampling import Block, Row
from ...scenario.reading import opened_file
from ...scenario.wording import one_line
from .rows import Packed, columns_of, packed
from .table import Values, plain_column

_NAME = re.compile(r"(\d{6,})-([0-9a-f]{64})\.rows")


@dataclass(frozen=True)
class KeptBlock:
    """One block on disk; its bytes are checked against their hash whenever they are read."""

    path: Path
    members: np.ndarray
    names: tuple[str, ...]

    @property
    def place(self) -> str:
        """How a sentence names it."""
        return one_line(str(self.path))

    def columns(self, names: Sequence[str]) -> dict[str, Values]:
        """Those of some columns that it has.  InputError if it was damaged in the meantime."""
        data = _whole(self.path)
        if data is None:
            raise InputError(self.place, "this block has been damaged in the meantime; run the same sweep again")
        return Packed(data).columns(names)


class Blocks:
    """The folder of one sweep's blocks, held by one process at a time."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.damaged: list[str] = []
        self._lock: IO | None = None
        self._last = 0

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
        self._last = max((int(sure(_NAME.fullmatch(path.name))[1]) for path in self._paths()), default=0)

    def _opened_lock(self) -> IO:
        """The lock, which is never followed to elsewhere nor emptied: others may have put a link in its place."""
        try:
            self.folder.mkdir(exist_ok=True)
            if self.folder.is_symlink():
                raise InputError(
                    one_line(str(self.folder)), "this is a link, allowed is a folder for blocks; remove it"
                )
            lock = os.open(self.folder / "lock", os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o666)
            if not stat.S_ISREG(os.fstat(lock).st_mode):
                os.close(lock)
                raise OSError(errno.EINVAL, "its lock is no file")
            return os.fdopen(lock, "r+b")
        except OSError as error:
            raise InputError(
                one_line(str(self.folder)),
                f"this folder for blocks cannot be made ({error.strerror}); name another file",
            ) from None

    def release(self) -> None:
        """Give the lock back; a folder without a block goes."""
        if self._lock is None:
            return
        if not any(self.folder.glob("*.rows")):
            self._remove_folder()
        self._lock.close()
        self._lock = None

    def remove(self, blocks: Sequence[KeptBlock]) -> None:
        """Delete blocks, once they are joined."""
        for block in blocks:
            block.path.unlink(missing_ok=True)

    def _remove_folder(self) -> None:
        (self.folder / "lock").unlink(missing_ok=True)
        try:
            self.folder.rmdir()
        except OSError:
            pass  # somebody put a file of his own in it, or another process has just come

    def append(self, parts: Sequence[Row | Block], attributes: Mapping[str, Any]) -> KeptBlock:
        """Write rows, or several blocks of them, as the next block."""
        columns = columns_of(parts)
        data = packed(columns, attributes)
        path = self.folder / f"{self._last + 1:06d}-{hashlib.sha256(data).hexdigest()}.rows"
        put(path, data)
        self._last += 1
        return KeptBlock(path, plain_column(columns["member"]), tuple(columns))

    def read(self) -> Iterator[tuple[dict[str, Any], KeptBlock]]:
        """Attributes of each block and itself; a damaged one is noted, deleted and left out."""
        for path in self._paths():
            data = _whole(path)
            if data is None:
                self.damaged.append(
                    f"block {path.name[:6]} is damaged (its SHA-256 differs); its rows are computed anew"
                )
                path.unlink()
                sync_folder(self.folder)
                continue
            block = Packed(data)
            try:
                members = plain_column(block.columns(("member",))["member"]).copy()
                names = tuple(name for name, *_ in block.head["columns"])
                found = dict(block.head["attributes"])
            except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
                raise InputError(one_line(str(path)), "this is no block of a sweep; remove it") from None
            yield found, KeptBlock(path, members, names)

    def _paths(self) -> list[Path]:
        return sorted(path for path in self.folder.glob("*.rows") if _NAME.fullmatch(path.name))


def _whole(path: Path) -> bytes | None:
    """The bytes of a block, None if they are not those that were written."""
    try:
        if path.is_symlink():
            return None
        with opened_file(path, "a block") as stream:
            data = stream.read()
    except (OSError, InputError):
        return None
    return data if hashlib.sha256(data).hexdigest() == sure(_NAME.fullmatch(path.name))[2] else None


def _is_still(lock: IO, path: Path) -> bool:
    """Whether the locked file is the one in the folder: the last holder may have removed it in the meantime."""
    try:
        return os.path.samestat(os.fstat(lock.fileno()), os.stat(path))
    except OSError:
        return False
