"""From what the schema found wrong to the one sentence that a user reads."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from ..errors import InputError
from .keys import Key, key_name
from .nearest import advice
from .wording import as_given, one_line

# A misspelt key is also a missing one: the misspelling is what to say first.
_ORDER = {"extra_forbidden": 0, "missing": 2}


def input_error(error: ValidationError, place: str, known: Mapping[str, Key]) -> InputError:
    """The first thing that is wrong as file:table.key and a sentence, and how many more there are."""
    found: list[Any] = sorted(error.errors(include_url=False), key=lambda item: _ORDER.get(item["type"], 1))
    first, more = found[0], len(found) - 1
    path = [part for part in first["loc"]]
    path += first.get("ctx", {}).get("path", ())
    sentence = _sentence(first, path, known)
    if more:
        sentence += f" (and {more} more {'error' if more == 1 else 'errors'})"
    return InputError(f"{place}:{dotted(path)}" if path else place, one_line(sentence))


def dotted(path: list) -> str:
    """table.key, with quotes around a part that TOML would need them for."""
    return one_line(".".join(_part(part) for part in path))


def _part(part: str | int) -> str:
    text = str(part)
    if re.fullmatch(r"[A-Za-z0-9_-]+", text):
        return text
    return '"' + (text if len(text) < 60 else text[:57] + "...") + '"'


def _sentence(item: dict[str, Any], path: list, known: Mapping[str, Key]) -> str:
    if item["type"] == "refused":
        return item["ctx"]["sentence"]
    if item["type"] == "extra_forbidden":
        return _unknown(path, known)
    key = _find(path, known)
    if item["type"] == "missing" and key is not None and key.name == _plain(path):
        return _missing(key, known)
    allowed = key.allowed if key else item["msg"]
    if key is not None and key.length:
        return f"{as_given(item['input'])} is given, allowed is {allowed}; write exactly {key.length} numbers"
    return f"{as_given(item['input'])} is given, allowed is {allowed}; {_remedy(item['input'], key, known)}"


def _unknown(path: list, known: Mapping[str, Key]) -> str:
    name = _plain(path)
    if name.startswith("sampling.quantities.<key>.") and f"{path[2]}.{path[3]}" in known:
        return f'the key has a dot and needs quotes: write "{path[2]}.{path[3]}" = ...'
    return f"unknown key; {advice(name, known)}"


def _missing(key: Key, known: Mapping[str, Key]) -> str:
    if key.is_table:
        return f"the table is missing; add it with the keys {_keys_of(key.name, known)}"
    return f"the key is missing, allowed is {key.allowed} ({key.reason}); add it"


def _remedy(value: Any, key: Key | None, known: Mapping[str, Key]) -> str:
    if key is None:
        return "change it"
    if key.kind == "a list of tables":
        return f"write double brackets, [[{key.name}]]"
    if key.is_table:
        if isinstance(value, list) and value and isinstance(value[0], dict):
            return f"write single brackets, [{key.name}]"
        return f"write a table with the keys {_keys_of(key.name, known)}"
    if key.kind in ("a number", "a whole number"):
        if isinstance(value, str):
            return "write the number without quotes and without a unit"
        if isinstance(value, float) and math.isfinite(value):
            return "write it without a fraction"
        return "write a number"
    return "write it in quotes" if key.kind.startswith("a text") else f"write {key.kind}"


def _keys_of(table: str, known: Mapping[str, Key]) -> str:
    start = table + "."
    return ", ".join(name[len(start) :] for name in known if name.startswith(start) and "." not in name[len(start) :])


def _plain(path: list) -> str:
    """The dotted name as the table of keys spells it, where a name chosen by the user is `<key>` and a row `<row>`."""
    parts = [str(part) for part in path]
    if parts[:2] == ["sampling", "quantities"] and len(parts) > 2:
        parts[2] = "<key>"
    return key_name(parts)


def _find(path: list, known: Mapping[str, Key]) -> Key | None:
    """The key at the path, or the one that the path lies inside (the element of a list)."""
    for end in range(len(path), 0, -1):
        if (name := _plain(path[:end])) in known:
            return known[name]
    return None
