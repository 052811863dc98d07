"""Values as TOML has them: copies in dictionaries and lists, of numbers and texts, without what is not given."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

HERE = Path(".")


def plain(value: Any, folder: Path = HERE) -> Any:
    """A copy of a value: tables and mappings as dictionaries without None, tuples and arrays as lists.

    Mesh files are named as seen from `folder`.
    """
    if isinstance(value, float | int | str):
        return value
    if hasattr(value, "known_keys"):
        return value.to_dict(folder)
    if isinstance(value, Mapping):
        return {key: plain(item, folder) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        return [plain(item, folder) for item in value]
    return value.tolist() if hasattr(value, "tolist") else value


class Fixed(dict):
    """A dictionary that nobody changes any more."""

    def _refused(self, *_: Any, **__: Any) -> NoReturn:
        raise TypeError("a scenario is frozen; scenario.replace({key: value}) gives another one")

    __setitem__ = __delitem__ = __ior__ = clear = pop = popitem = setdefault = update = _refused

    def __reduce__(self) -> tuple:
        return Fixed, (dict(self),)
