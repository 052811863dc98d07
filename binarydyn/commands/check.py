"""`binarydyn check`: what a scenario asks, key by key, and how it differs from the defaults."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace
from typing import Annotated, Any

import typer

from ..errors import InputError
from ..scenario import Key, Scenario, example
from ..scenario.wording import CAUTION
from ..terminal.options import File, Json, scenario_of
from ..terminal.tables import print_table
from .texts.meshes import mesh_reports, print_meshes

_USUAL = "rungekutta"


def check(
    file: File = "",
    as_json: Json = False,
    as_file: Annotated[bool, typer.Option("--print", help="Print a commented template.")] = False,
    keys: Annotated[
        bool, typer.Option("--keys", help="List all keys with unit, default, range and meaning; integrators.")
    ] = False,
) -> None:
    """Read a scenario, refuse it in one line or show it."""
    if as_file or keys:
        _alone(file, as_file, keys, as_json)
        return _print_builtin() if as_file else _print_keys(as_json)
    scenario = scenario_of(file)
    rows, meshes = list(_rows(scenario)), mesh_reports(scenario)
    if as_json:
        report = _report(scenario, rows) | {"meshes": meshes, "perturbations": _sizes(scenario)}
        print(json.dumps(report, indent=2))
    else:
        _print_scenario(scenario, rows)
        print_meshes(meshes)
        _print_sizes(_sizes(scenario))


def _alone(file: str, as_file: bool, keys: bool, as_json: bool) -> None:
    """--print and --keys are about no file and exclude each other."""
    option = "--print" if as_file else "--keys"
    if file:
        raise InputError(file, f"a file is given with {option}, allowed is {option} alone; leave the file out")
    if as_file and (keys or as_json):
        raise InputError("--print", "other options are given with it, allowed is --print alone; leave them out")


def _rows(scenario: Scenario) -> list[tuple[Key, Any, bool]]:
    """Each key that counts in this scenario: its value, and whether that differs from a default that it has."""
    asked = scenario.model_dump()
    if not scenario.impactor:
        asked["momentum_transfer"] = None
    rows = []
    for key in scenario.known_keys().values():
        if key.is_table or key.name in ("name", "description") or key.name.startswith(("expected", "input_sigma")):
            continue
        for name, value in _values(asked, key.name.split(".")):
            rows.append((replace(key, name=name), value, key.default is not None and value != key.default))
    return rows


def _values(asked: Any, parts: Sequence[str], name: str = "") -> Iterator[tuple[str, Any]]:
    """What is given for a key, with its full name: nothing, one value, or one for each row of a list of tables."""
    if asked is None or not parts:
        if asked is not None:
            yield name, asked
    elif parts[0] == "<row>":
        for row, table in enumerate(asked):
            yield from _values(table, parts[1:], f"{name}.{row}")
    else:
        yield from _values(asked.get(parts[0]), parts[1:], f"{name}.{parts[0]}".lstrip("."))


def _report(scenario: Scenario, rows: Sequence[tuple[Key, Any, bool]]) -> dict[str, Any]:
    return {
        "name": scenario.name,
        "file": scenario.place,
        "sha256": scenario.sha256,
        "values": {key.name: value for key, value, _ in rows},
        "differs_from_default": [key.name for key, _, differs in rows if differs],
        "sampling_quantities": scenario.model_dump(exclude_none=True).get("sampling", {}).get("quantities", {}),
        "integrator": _integrator(scenario),
        "lanes": dict(zip(("count", "vector_bits"), _lanes(), strict=True)),
        "caution": CAUTION,
    }


def _print_scenario(scenario: Scenario, rows: Sequence[tuple[Key, Any, bool]]) -> None:
    print(f"{scenario.name or 'scenario'} ({scenario.place}, sha256 {scenario.sha256[:12]})")
    if scenario.description:
        print(scenario.description)
    head = ("key", "value", "unit", "default", "")
    cells = [
        (key.name, _text(value), key.unit, _default(key), "differs" if differs else "") for key, value, differs in rows
    ]
    if scenario.sampling:
        for name, distribution in scenario.sampling.quantities.items():
            for kind, numbers in distribution.model_dump(exclude_none=True).items():
                cells.append((f'sampling.quantities."{name}"', f"{kind} {_text(numbers)}", "", "", ""))
    print_table(head, cells)
    row = _integrator(scenario)
    if row["name"] != _USUAL:
        print(f"\nintegrator {row['name']}, order {row['order']}: {row['when']}")


def _integrator(scenario: Scenario) -> dict[str, str]:
    """The row of the table of integrators; perturbations are known to the first one alone."""
    from ..dynamics import INTEGRATORS

    return vars(INTEGRATORS[_USUAL if scenario.perturbations.any else scenario.simulation.integrator])


def _lanes() -> tuple[int, int]:
    """Members side by side, and bits of this processor's vectors, in which they are calculated."""
    from ..integrators.lanes import LANES, vector_bits

    return LANES, vector_bits()


def _print_integrators() -> None:
    """What there is, with its order, cost and source."""
    from ..dynamics import INTEGRATORS

    for row in INTEGRATORS.values():
        print(f"\nintegrator {row.name}: order {row.order}; {row.cost}\n  when: {row.when}\n  {row.citation}")
    lanes, bits = _lanes()
    print(f"{lanes} lanes side by side; vectors of this processor: {bits} bits, {bits // 64} numbers at once")


def _sizes(scenario: Scenario) -> list[dict[str, Any]]:
    """Each perturbation that is on, and the Sun's tide where it could be, in closed form; nothing is run for it."""
    if not (scenario.perturbations.any or scenario.heliocentric_orbit):
        return []
    from ..prediction.perturbation_sizes import estimated_sizes

    return [asdict(size) for size in estimated_sizes(scenario)]


def _print_sizes(sizes: Sequence[dict[str, Any]]) -> None:
    if not sizes:
        return
    from ..prediction.outcomes import OUTCOMES

    print()
    head = ("perturbation", "acceleration / attraction", OUTCOMES["period_change_s"].label_with_unit, "")
    cells = [
        (row["name"], f"{row['relative_acceleration']:.2e}", f"{row['period_change_s']:+.2g}", row["says"])
        for row in sizes
    ]
    print_table(head, cells)


def _print_keys(as_json: bool) -> None:
    keys = [key for key in Scenario.known_keys().values() if not key.is_table]
    if as_json:
        print(json.dumps([_described(key) for key in keys], indent=2))
        return
    head = ("key", "unit", "default", "allowed", "reason")
    print_table(head, [(key.name, key.unit, _default(key), key.allowed, key.reason) for key in keys])
    _print_integrators()


def _described(key: Key) -> dict[str, Any]:
    return {"key": key.name, "unit": key.unit, "default": key.default, "required": key.required} | {
        "allowed": key.allowed,
        "reason": key.reason,
    }


def _print_builtin() -> None:
    sys.stdout.write(example().text)


def _default(key: Key) -> str:
    return "required" if key.required else "-" if key.default is None else _text(key.default)


def _text(value: Any) -> str:
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_text(item) for item in value) + "]"
    if isinstance(value, float):
        return f"{value:.12g}"
    return str(value) if str(value) else '""'
