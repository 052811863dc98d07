"""The same scenario with other values, by dotted keys: what `replace`, sweeps and samplings change."""

from __future__ import annotations

import numbers
import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from ..kinds import check_kind, takes
from .fields import in_range, range_text, refusal
from .keys import Key, key_name
from .nearest import advice
from .tables.bodies import RATIOS
from .wording import as_given, one_line

if TYPE_CHECKING:
    from .scenario import Scenario


def numeric_names(known: Mapping[str, Key]) -> list[str]:
    """Dotted names of all single numbers; the elements of a list by index."""
    names = []
    for key in known.values():
        if key.numeric:
            names += [f"{key.name}.{i}" for i in range(key.length)] if key.length else [key.name]
    return names


@cache
def _numeric_names(model: type[Scenario]) -> dict[str, None]:
    """Of a scenario, in order: asked for every value of every member."""
    return dict.fromkeys(numeric_names(model.known_keys()))


def why_not_numeric(scenario: Scenario, name: str) -> str:
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
def value_of(scenario: Scenario, name: str) -> Any:
    """What a dotted key stands for, list elements by index; None where the scenario does not give it."""
    value: Any = scenario
    for part in parts_of(name):
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


def check_sampled_keys(scenario: Scenario) -> None:
    """Refuse distributions of keys that are not numbers of this scenario, or centred on values that are not allowed."""
    for name, distribution in scenario.sampling.quantities.items():
        place = ("sampling", "quantities", name)
        if why := why_not_numeric(scenario, name):
            raise refusal(place, why)
        facts = key_of(name, scenario.known_keys()).facts
        for value in distribution.centre_and_limits:
            if not in_range(value, facts):
                raise refusal(place, f"{value:g} is given, allowed is {range_text(facts)}; change it")


def check_uncertain_keys(scenario: Scenario) -> None:
    """Refuse an input sigma of a key that is not a number of this scenario."""
    for row, entry in enumerate(scenario.input_sigma):
        for name in entry.keys:
            if why := why_not_numeric(scenario, name):
                raise refusal(("input_sigma", str(row), "keys"), f"{name}: {why}")


@takes(scenario="Scenario", changes=Mapping)
def varied(scenario: Scenario, changes: Mapping[str, float]) -> Scenario:
    """Scenario.replace for numbers that the scenario has alone, as sweeps and samples vary them.

    Raises InputError for an unknown or non-numeric key (naming the nearest right one), for a value that is no number,
    and for whatever the schema refuses.
    """
    for name, value in changes.items():
        place = f"{scenario.place}:{one_line(name)}"
        if why := why_not_numeric(scenario, name):
            raise InputError(place, why)
        if isinstance(value, bool) or not isinstance(value, numbers.Real):
            raise InputError(place, f"{as_given(value)} is given, allowed is a number; write one")
    return scenario.replace({name: float(value) for name, value in changes.items()})


def parts_of(name: str) -> list[str]:
    """The parts of a dotted key as TOML has it, where quotes keep a part with dots together."""
    return [quoted or bare for quoted, bare in re.findall(r'"([^"]*)"|([^.]+)', name)] or [name]


def unknown(scenario: Scenario, name: str) -> str:
    """Empty where a scenario may have this key, be it a number or not; else the sentence that says why not."""
    known, parts = scenario.known_keys(), parts_of(name)
    dotted = key_name(parts)
    if dotted in known or dotted in _numeric_names(type(scenario)) or parts[:2] == ["sampling", "quantities"]:
        return ""
    return f"unknown key; {advice(name, known)}"


def in_order(scenario: Scenario, changes: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """The changes, with all that a new shape of a body takes away before it."""
    for body in ("primary", "secondary"):
        axes = f"{body}.semi_axes_m"
        if changes.get(axes) is not None or all(f"{axes}.{i}" in changes for i in range(3)):
            for name in RATIOS:
                if value_of(scenario, f"{body}.{name}") is not None:
                    yield f"{body}.{name}", None
    yield from changes.items()


def put(data: dict[str, Any], scenario: Scenario, name: str, value: Any) -> None:
    """Put a value into data at its dotted key; None takes it away.  InputError where the key leads nowhere."""
    check_kind("Scenario.replace", name, str)
    *way, last = parts_of(name)
    place: Any = data
    for depth, part in enumerate(way):
        if isinstance(place, list):
            place = place[_row(scenario, name, part, place)]
        elif part in place:
            place = place[part]
        elif value is None:
            return  # what is not there need not be taken away
        else:
            stands_for = value_of(scenario, ".".join(way[: depth + 1]))  # a list that is left to its default
            place = place.setdefault(part, list(stands_for) if isinstance(stands_for, tuple) else {})
        if not isinstance(place, dict | list):
            raise InputError(f"{scenario.place}:{one_line(name)}", f"{part} holds no further keys; leave out the rest")
    if isinstance(place, list):
        row = _row(scenario, name, last, place)
        place[row : row + 1] = [] if value is None else [value]
    elif value is None:
        place.pop(last, None)
    else:
        place[last] = value


def _row(scenario: Scenario, name: str, part: str, rows: list) -> int:
    """Which element of a list is meant."""
    if not (part.isdecimal() and int(part) < len(rows)):
        allowed = f"allowed is 0 .. {len(rows) - 1}; change it" if rows else "the list is empty"
        why = f"{as_given(part)} names no element, {allowed}, or give the whole list"
        raise InputError(f"{scenario.place}:{one_line(name)}", why)
    return int(part)
