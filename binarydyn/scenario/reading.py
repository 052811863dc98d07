"""From a file to plain TOML data; whatever a file can be instead of a scenario is refused in one sentence."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from pathlib import Path
from typing import IO, Any

from ..errors import InputError
from .wording import one_line

LARGEST_BYTES = 1 << 20
LARGEST_MESH_BYTES = 64 << 20
"""Text of 200 000 facets, each with three corners of nine digits and a normal, is 50 MiB."""
_START = "; binarydyn.example().to_toml(path) writes one to start from"
_START_TYPED = "; `binarydyn check --print` writes one to start from"


def place_of(path: str | Path) -> str:
    """How a sentence names a file; InputError where somebody gave an empty name."""
    if not str(path):
        raise InputError('""', "the name of the file is empty, allowed is one with a letter at least; name a file")
    return one_line(str(path))


def opened_file(path: str | Path, what: str) -> IO[bytes]:
    """A file to read from; InputError where it is a folder, a device, a pipe or a socket: such may never answer.

    what: which file is allowed.  OSError or ValueError where there is none, or it cannot be read.
    """
    mode = os.stat(path).st_mode  # before it is opened: opening a device may already do something
    if stat.S_ISREG(mode):
        handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)  # if it is a pipe by now, do not wait
        mode = os.fstat(handle).st_mode
        if stat.S_ISREG(mode):
            return os.fdopen(handle, "rb")
        os.close(handle)
    if stat.S_ISDIR(mode):
        raise InputError(place_of(path), f"this is a folder, allowed is {what}; name a file in it")
    raise InputError(place_of(path), f"this is a device or a pipe, allowed is {what}; name one that lies on a disk")


def read_text(path: str | Path) -> str:
    """The text of a scenario file; InputError where it is missing, a folder, unreadable, too large or not text."""
    place = place_of(path)
    try:
        with opened_file(path, "a scenario file") as stream:
            raw = stream.read(LARGEST_BYTES + 1)
    except InputError:
        raise
    except FileNotFoundError:
        raise InputError(
            place, "there is no such file" + _START, typed="there is no such file" + _START_TYPED
        ) from None
    except (OSError, ValueError) as error:
        reason = one_line(getattr(error, "strerror", None) or str(error))
        raise InputError(place, f"the file cannot be read ({reason}); check its name and permissions") from None
    if len(raw) > LARGEST_BYTES:
        raise InputError(
            place,
            "the file is larger than 1 MiB, allowed is less; put a mesh in a file of its own and name it here",
        )
    return _decoded(raw, place)


def write_text(path: str | Path, text: str) -> None:
    """A new scenario file.  InputError where there is a file already, or none can be."""
    place = place_of(path)
    try:
        with open(path, "x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError:
        raise InputError(place, "there is such a file already, allowed is a new one; name another") from None
    except (OSError, ValueError) as error:
        reason = one_line(getattr(error, "strerror", None) or str(error))
        raise InputError(place, f"the file cannot be written ({reason}); choose another place") from None


def _decoded(raw: bytes, place: str) -> str:
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            place, f"byte {error.start} is not UTF-8 text; a scenario is a TOML file, save it as UTF-8"
        ) from None
    if "\0" in text:
        raise InputError(place, "this is a binary file; a scenario is a TOML file, text in UTF-8")
    return text


def parsed(text: str, place: str) -> dict[str, Any]:
    """The TOML data; InputError with the line number where it is not TOML, or where it says nothing."""
    place = one_line(place)
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise InputError(place, "brackets are nested too deep to read; a scenario needs at most three levels") from None
    except ValueError as error:
        where, what = _line(error, text), re.sub(r"\s*\(at .*\)$", "", str(error))
        if "integer string" in what:
            what = "a whole number of thousands of digits"
        raise InputError(place, f"{where} not TOML ({one_line(what)}); correct it") from None
    if not data:
        raise InputError(place, "the file is empty" + _START, typed="the file is empty" + _START_TYPED)
    return data


def _line(error: ValueError, text: str) -> str:
    found = re.search(r"\(at line (\d+), column (\d+)\)$", str(error))
    if found:
        return f"line {found[1]}, column {found[2]} is"
    if "(at end of document)" in str(error):
        return f"line {text.count(chr(10)) + 1} (the end of the file) is"
    return "a value in it is"


def toml_text(data: dict[str, Any]) -> str:
    """Data as TOML text that reads back to the same data: plain keys first, then a table for each dictionary."""
    lines = [f"{_toml_key(name)} = {_toml_value(value)}" for name, value in data.items() if not isinstance(value, dict)]
    for name, table in data.items():
        if isinstance(table, dict):
            lines += ["", f"[{_toml_key(name)}]"] + [f"{_toml_key(k)} = {_toml_value(v)}" for k, v in table.items()]
    return "\n".join(lines).strip() + "\n"


def _toml_key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _toml_value(name)


def _toml_value(value: Any) -> str:
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in escaped) + '"'
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml_value(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml_key(k)} = {_toml_value(v)}" for k, v in value.items()) + "}"
    return repr(value)
