"""Files that are whole or absent: built in memory, written under a temporary name, synchronised, then renamed."""

from __future__ import annotations

import io
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from ..scenario.wording import one_line

if TYPE_CHECKING:
    import h5py


def image(fill: Callable[[h5py.File], None]) -> bytes:
    """The bytes of the HDF5 file that `fill` makes."""
    import h5py

    with h5py.File("image", "w", driver="core", backing_store=False) as file:
        fill(file)
        file.flush()
        return file.id.get_file_image()


def opened(data: bytes) -> h5py.File:
    """An HDF5 file that is in memory, to be read."""
    import h5py

    return h5py.File(io.BytesIO(data), "r")


def put(path: Path, data: bytes) -> None:
    """Write a file: a kill or a loss of power leaves the old one or the new one.  InputError where it cannot be."""
    draft = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        with open(draft, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(draft, path)
        sync_folder(path.parent)
    except OSError as error:
        draft.unlink(missing_ok=True)
        raise InputError(
            one_line(str(path)), f"it cannot be written ({error.strerror}); check the disk and the permissions"
        ) from None


def sync_folder(folder: Path) -> None:
    """Make renames in a folder outlast a loss of power."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def check_place(path: str | Path) -> None:
    """InputError, before anything is computed, where a result could not be written later."""
    place, path = one_line(str(path)), Path(path)
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        mode = 0
    except (OSError, ValueError) as error:
        raise InputError(place, f"it cannot be a file ({one_line(str(error))[-120:]}); choose another name") from None
    if stat.S_ISDIR(mode):
        raise InputError(place, "this is a folder, allowed is the name of a file; add one")
    if not path.parent.is_dir():
        raise InputError(place, f"there is no folder {one_line(str(path.parent))}; make it or name another one")
    if not os.access(path.parent, os.W_OK):
        raise InputError(place, "its folder cannot be written; name another one")
