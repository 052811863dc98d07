"""Files that are whole or absent: written under a temporary name, sealed, synchronised, then renamed."""

from __future__ import annotations

import os
import stat
import struct
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING

from ..errors import InputError
from ..scenario.reading import place_of
from ..scenario.wording import one_line
from .seal import seal, sealed

if TYPE_CHECKING:
    import h5py


def image(fill: Callable[[h5py.File], None]) -> bytes:
    """The bytes of the HDF5 file that `fill` makes, sealed."""
    import h5py

    with h5py.File("image", "w", driver="core", backing_store=False) as file:
        fill(file)
        file.flush()
        return sealed(file.id.get_file_image())


def put(path: Path, data: bytes) -> None:
    """Write a file: a kill or a loss of power leaves the old one or the new one.  InputError where it cannot be."""
    path = target_of(path)
    draft = _draft_of(path)
    with _placed(path, draft), _new(draft) as stream:
        stream.write(data)
        _finish(stream, draft, path)


def put_large(path: Path, draft: Path, room: int, fill: Callable[[h5py.File], None]) -> None:
    """Write an HDF5 file that `fill` makes, piece by piece on disk, as `put` does; draft: its name until it is whole.

    room: bytes that suffice for it.  They are reserved beforehand, since HDF5 may crash where a disk gets full.
    """
    import h5py

    path = target_of(path)
    with _placed(path, draft):
        with _new(draft) as stream:
            os.posix_fallocate(stream.fileno(), 0, room)  # HDF5 starts once it is known that there is room
        with h5py.File(draft, "w") as file:
            with open(draft, "r+b") as stream:
                os.posix_fallocate(stream.fileno(), 0, room)
            fill(file)
        with open(draft, "r+b") as stream:
            os.ftruncate(stream.fileno(), _end_of_hdf5(stream.read(64)))
            seal(stream)
            _finish(stream, draft, path)


def _end_of_hdf5(head: bytes) -> int:
    """Where the content of an HDF5 file ends, from its superblock (format specification, section II.A)."""
    return struct.unpack_from("<Q", head, 40 if head[8] < 2 else 28)[0]


@contextmanager
def _placed(path: Path, draft: Path) -> Iterator[None]:
    """InputError, and no draft, for whatever a disk may answer."""
    try:
        yield
    except OSError as error:
        why = os.strerror(error.errno) if error.errno else one_line(str(error))[:120]
        raise InputError(
            one_line(str(path)), f"it cannot be written ({why}); check the disk and the permissions and try again"
        ) from None
    finally:
        with suppress(OSError):  # it was renamed, or the disk takes no draft at all
            draft.unlink()


def _new(draft: Path) -> IO[bytes]:
    """A draft, open for writing: never one that is there, which may be a link to something else."""
    draft.unlink(missing_ok=True)
    return open(draft, "xb")


def _draft_of(path: Path) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}.tmp")


def target_of(path: str | Path) -> Path:
    """Where a path leads: of a symbolic link the file that it names, which need not be there yet."""
    path = Path(path)
    return Path(os.path.realpath(path)) if os.path.islink(path) else path


def _finish(stream, draft: Path, path: Path) -> None:
    stream.flush()
    os.fsync(stream.fileno())
    os.replace(draft, path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make renames in a folder outlast a loss of power."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def check_place(path: str | Path) -> None:
    """InputError, before anything is computed, where a result could not be written later."""
    place, path = place_of(path), target_of(path)
    if place == "-":
        raise InputError(place, "nothing is written to the standard output but text, allowed is a file; name one")
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        mode = stat.S_IFREG
    except (OSError, ValueError) as error:
        raise InputError(place, f"it cannot be a file ({one_line(str(error))[-120:]}); choose another name") from None
    if stat.S_ISDIR(mode):
        raise InputError(place, "this is a folder, allowed is the name of a file; add one")
    if not stat.S_ISREG(mode):
        raise InputError(place, "this is a device or a pipe, allowed is a file that stays on a disk; name one")
    if not path.parent.is_dir():
        raise InputError(place, f"there is no folder {one_line(str(path.parent))}; make it or name another one")
    if not os.access(path.parent, os.W_OK):
        raise InputError(place, "its folder cannot be written; name another one")
    draft = _draft_of(path)
    with _placed(Path(place), draft):  # some folders say that they can be written, to root above all, and cannot
        _new(draft).close()


def check_apart(outputs: Mapping[str, str], inputs: Sequence[str | Path]) -> None:
    """InputError, before anything is computed, where two outputs would go into one file, or one into an input.

    outputs: option and path of each, an empty path for none.  Links are followed, and hard ones seen.
    """
    taken = [("this is an input", path) for path in inputs if str(path)]
    for option, path in outputs.items():
        if not path:
            continue
        for what, other in taken:
            if _is_same(path, other):
                raise InputError(f"{option} {place_of(path)}", f"{what}, a result would replace it; name another file")
        taken.append((f"{option} writes to the same file", path))


def _is_same(one: str | Path, other: str | Path) -> bool:
    try:
        return os.path.samefile(one, other)
    except (OSError, ValueError):  # one of them is not there yet
        return os.path.realpath(one) == os.path.realpath(other)
