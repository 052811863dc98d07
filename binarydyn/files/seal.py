"""The last line of a result file: the SHA-256 of all before it, so that damage is found before HDF5 reads a byte.

HDF5 itself may crash or hang on flipped bits.  A file may be longer than its HDF5 content says (format specification,
superblock, end of file address), so general readers pass over the line.
"""

from __future__ import annotations

import hashlib
import re
from importlib.metadata import version
from pathlib import Path
from typing import IO

from ..errors import InputError
from ..scenario.reading import opened_file
from ..scenario.wording import one_line

SCHEMA = 3
"""Version of the layout: it grows when an older reader would misread a file."""
_PIECE = 1 << 20
_LONGEST = 400
_HDF5 = b"\x89HDF\r\n\x1a\n"
"""First bytes of every HDF5 file that begins with its superblock (format specification, section II.A)."""
_LINE = re.compile(rb"\nbinarydyn result, layout (\d+), written by binarydyn (\S+), SHA-256 ([0-9a-f]{64})\n\Z")


def sealed(data: bytes) -> bytes:
    """Bytes with their seal."""
    return data + _line(hashlib.sha256(data))


def seal(stream: IO[bytes]) -> None:
    """Put the seal behind what is in a file, open for reading and writing."""
    stream.seek(0)
    total = hashlib.sha256()
    while piece := stream.read(_PIECE):
        total.update(piece)
    stream.write(_line(total))


def check_seal(path: Path) -> None:
    """InputError where a file is not what was written: cut short, changed, damaged, foreign, of another layout."""
    place = one_line(str(path))
    try:
        with opened_file(path, "a result file") as stream:
            found = _found(stream)
            is_begun = _is_begun(stream)
    except OSError as error:
        raise InputError(place, f"it cannot be read ({error.strerror}); check the disk and the permissions") from None
    if found is None and not is_begun:
        raise InputError(place, "this is no result file, allowed is one of this package (HDF5); name another file")
    if found is None:
        raise InputError(
            place,
            "this is no whole result file: the line with its SHA-256 is not at its end (cut short, changed by another "
            "program, or of another kind or of layout 1); name another one or make it anew",
        )
    layout, package, is_whole = found
    if not is_whole:
        raise InputError(
            place,
            "this is no whole result file: it is damaged, its content is not what was written (its SHA-256 differs); "
            "name another one or make it anew",
        )
    if layout != SCHEMA:
        raise InputError(
            place, f"its layout has version {layout}, allowed is {SCHEMA}; read it with binarydyn {one_line(package)}"
        )


def _found(stream: IO[bytes]) -> tuple[int, str, bool] | None:
    """Layout, package version, and whether the hash fits; None where there is no seal."""
    size = stream.seek(0, 2)
    stream.seek(max(size - _LONGEST, 0))
    line = _LINE.search(stream.read(_LONGEST))  # what has no size, such as a device, may have no end either
    if line is None:
        return None
    stream.seek(0)
    left, total = size - len(line[0]), hashlib.sha256()
    while left and (piece := stream.read(min(_PIECE, left))):
        left -= len(piece)
        total.update(piece)
    return int(line[1]), line[2].decode(errors="replace"), line[0] == _line(total, line[1], line[2])


def _is_begun(stream: IO[bytes]) -> bool:
    """Whether a file starts as a result does, as far as it goes; a scenario or a table of numbers does not."""
    stream.seek(0)
    return _HDF5.startswith(stream.read(len(_HDF5)))


def _line(total: hashlib._Hash, layout: bytes = b"", package: bytes = b"") -> bytes:
    """The seal of what has been hashed; its own words are hashed too, so that a flipped bit in them is seen."""
    head = b"\nbinarydyn result, layout %s, written by binarydyn %s, SHA-256 " % (
        layout or str(SCHEMA).encode(),
        package or version("binarydyn").encode(),
    )
    whole = total.copy()
    whole.update(head)
    return head + whole.hexdigest().encode() + b"\n"
