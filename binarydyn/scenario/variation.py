"""The same scenario with other numbers: what a sweep and a sampling vary, by dotted keys."""

from __future__ import annotations

import copy
import numbers
from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from .fields import in_range, range_text, refusal
from .keys import Key, key_name
from .nearest import advice
from .sections import RATIOS
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


def value_of(scenario: Scenario, name: str) -> Any:
    """What a dotted key stands for, list elements by index; None where the scenario does not give it."""
    value: Any = scenario
    for part in name.split("."):
        if isinstance(value, tuple):
            value = value[int(part)] if part.isdecimal() and int(part) < len(value) else None
        else:
            value = getattr(value, part, None)
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


def varied(scenario: Scenario, changes: Mapping[str, float]) -> Scenario:
    """The scenario with the numbers of `changes` ({"impactor.mass_kg": 500.0}) put in, checked anew.

    List elements and rows go by index, `primary.inclusions.0.density_kg_m3`.  All three semi-axes of a body take the
    place of its axis ratios and volume.  Raises InputError for an unknown or
    non-numeric key (naming the nearest right one), for a value that is no number, and for whatever the schema refuses.
    """
    data = copy.deepcopy(scenario.data)
    _drop_ratios(data, changes)
    for name, value in changes.items():
        place = f"{scenario.place}:{one_line(name)}"
        if why := why_not_numeric(scenario, name):
            raise InputError(place, why)
        if isinstance(value, bool) or not isinstance(value, numbers.Real):
            raise InputError(place, f"{as_given(value)} is given, allowed is a number; write one")
        _put(data, scenario, name, float(value))
    return type(scenario).from_data(data, scenario.place, scenario.folder)


def _drop_ratios(data: dict[str, Any], changes: Mapping[str, float]) -> None:
    """A body whose three semi-axes change is no longer described by ratios."""
    for body in ("primary", "secondary"):
        if all(f"{body}.semi_axes_m.{i}" in changes for i in range(3)):
            for name in RATIOS:
                data.get(body, {}).pop(name, None)


def _put(data: dict[str, Any], scenario: Scenario, name: str, value: float) -> None:
    *tables, last = name.split(".")
    if last.isdigit():
        *tables, leaf = tables
        elements = list(value_of(scenario, ".".join([*tables, leaf])))
    for table in tables:
        data = data[int(table)] if isinstance(data, list) else data.setdefault(table, {})
    if last.isdigit():
        data.setdefault(leaf, elements)[int(last)] = value
    else:
        data[last] = value
