"""The same scenario with other values, by dotted keys: what `replace`, sweeps and samplings change."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any

from ..errors import InputError
from ..kinds import check_kind, takes
from .fields import Table, refusal
from .keys import Key, key_name
from .nearest import advice
from .ranges import in_range, range_text
from .tables.bodies import RATIOS, SHAPE_KEYS
from .tables.reference import InputSigma
from .tables.sampling import Distribution
from .wording import as_given, one_line


def numeric_names(known: Mapping[str, Key]) -> list[str]:
    """Dotted names of all single numbers; the elements of a list by index."""
    names = []
    for key in known.values():
        if key.numeric:
            names += [f"{key.name}.{i}" for i in range(key.length)] if key.length else [key.name]
    return names


@cache
def _numeric_names(model: type[Table]) -> dict[str, None]:
    """Of a scenario, in order: asked for every value of every member."""
    return dict.fromkeys(numeric_names(model.known_keys()))


def why_not_numeric(scenario: Table, name: str) -> str:
    """Empty where `name` is a number of this scenario; else the sentence that says why not."""
    known = scenario.known_keys()
    names, given, name = _numeric_names(type(scenario)), name, key_name(name.split("."))
    if name not in names:
        if name in known:
            elements = [other.replace(name, given) for other in names if other.startswith(name + ".")]
            return f"this is not a single number; vary {', '.join(elements) or 'a numeric key'} instead"
        return f"unknown key; {advice(name, names)}"
    if value_of(scenario, given) is None:
        return f"the scenario does not give it; vary a key that it gives, or add this one to [{name.partition('.')[0]}]"
    return ""


@takes(scenario="Table", name=str)
def value_of(scenario: Table, name: str) -> Any:
    """What a dotted key stands for, list elements by index; None where the scenario does not give it."""
    return value_below(scenario, parts_of(name))


def value_below(value: Any, parts: Sequence[str]) -> Any:
    """What the parts of a dotted key lead to from a table or a list of tables; None where it does not give it."""
    for part in parts:
        if isinstance(value, tuple):
            value = value[int(part)] if part.isdecimal() and int(part) < len(value) else None
        elif isinstance(value, Mapping):
            value = value.get(part)
        else:
            value = getattr(value, part) if part in getattr(type(value), "model_fields", ()) else None
        if value is None:
            return None
    return value


def key_of(name: str, known: Mapping[str, Key]) -> Key:
    """The key of a dotted numeric name; an element of a list belongs to the list's key."""
    name = key_name(name.split("."))
    return known[name] if name in known else known[name.rpartition(".")[0]]


def check_sampled_keys(scenario: Table, quantities: Mapping[str, Distribution]) -> None:
    """Refuse distributions of keys that are not numbers of this scenario, or centred on values that are not allowed."""
    for name, distribution in quantities.items():
        place = ("sampling", "quantities", name)
        if why := why_not_numeric(scenario, name):
            raise refusal(place, why)
        facts = key_of(name, scenario.known_keys()).facts
        for value in distribution.centre_and_limits:
            if not in_range(value, facts):
                raise refusal(place, f"{value:g} is given, allowed is {range_text(facts)}; change it")


def check_uncertain_keys(scenario: Table, rows: Iterable[InputSigma]) -> None:
    """Refuse an input sigma of a key that is not a number of this scenario."""
    for row, entry in enumerate(rows):
        for name in entry.keys:
            if why := why_not_numeric(scenario, name):
                raise refusal(("input_sigma", str(row), "keys"), f"{name}: {why}")


def parts_of(name: str) -> list[str]:
    """The parts of a dotted key as TOML has it, where quotes keep a part with dots together."""
    return [quoted or bare for quoted, bare in re.findall(r'"([^"]*)"|([^.]+)', name)] or [name]


def unknown(scenario: Table, name: str) -> str:
    """Empty where a scenario may have this key, be it a number or not; else the sentence that says why not."""
    known, parts = scenario.known_keys(), parts_of(name)
    dotted = key_name(parts)
    if dotted in known or dotted in _numeric_names(type(scenario)) or parts[:2] == ["sampling", "quantities"]:
        return ""
    return f"unknown key; {advice(name, known)}"


def in_order(scenario: Table, changes: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """The changes, with all that a new shape of a body takes away before it, and bodies by their keys."""
    changes = dict(_by_keys(changes))
    for body in ("primary", "secondary"):
        axes = f"{body}.semi_axes_m"
        if changes.get(axes) is not None or all(f"{axes}.{i}" in changes for i in range(3)):
            for name in RATIOS:
                if value_of(scenario, f"{body}.{name}") is not None:
                    yield f"{body}.{name}", None
    yield from changes.items()


def _by_keys(changes: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """A body that stands for all that says its shape and mass as these keys; other changes as they are."""
    for name, value in changes.items():
        if name in ("primary", "secondary") and hasattr(value, "scenario_keys"):
            keys = dict.fromkeys(SHAPE_KEYS) | value.scenario_keys
            yield from ((f"{name}.{key}", each) for key, each in keys.items())
        else:
            yield name, value


def set_value(data: dict[str, Any], scenario: Table, place: str, name: str, value: Any) -> None:
    """Put a value into data at its dotted key; None takes it away.  InputError where the key leads nowhere."""
    check_kind("Scenario.replace", name, str)
    *way, last = parts_of(name)
    at: Any = data
    for depth, part in enumerate(way):
        if isinstance(at, list):
            at = at[_row(place, name, part, at)]
        elif part in at:
            at = at[part]
        elif value is None:
            return  # what is not there need not be taken away
        else:
            stands_for = value_of(scenario, ".".join(way[: depth + 1]))  # a list that is left to its default
            at = at.setdefault(part, list(stands_for) if isinstance(stands_for, tuple) else {})
        if not isinstance(at, dict | list):
            raise InputError(f"{place}:{one_line(name)}", f"{part} holds no further keys; leave out the rest")
    if isinstance(at, list):
        row = _row(place, name, last, at)
        at[row : row + 1] = [] if value is None else [value]
    elif value is None:
        at.pop(last, None)
    else:
        at[last] = value


def _row(place: str, name: str, part: str, rows: list) -> int:
    """Which element of a list is meant."""
    if not (part.isdecimal() and int(part) < len(rows)):
        allowed = f"allowed is 0 .. {len(rows) - 1}; change it" if rows else "the list is empty"
        why = f"{as_given(part)} names no element, {allowed}, or give the whole list"
        raise InputError(f"{place}:{one_line(name)}", why)
    return int(part)
