"""Scenarios with something wrong, or strange, in them: of whole tables, keys, values, texts and bytes."""

from __future__ import annotations

import copy
import json
import random
import re
import tomllib
from functools import cache
from pathlib import Path

import values

from binarydyn.errors import InputError
from binarydyn.scenario import Scenario, example
from binarydyn.scenario.reading import toml_text

EXTRAS = {
    "velocity_change": {"along_track_mm_s": -1.0, "radial_mm_s": 0.1, "normal_mm_s": 0.2},
    "reshaping": {"secondary_semi_axes_m": [68.0, 62.0, 49.0], "volume": "kept"},
    "perturbations": {"solar_tide": "on", "mean_motion_rate_rad_s2": 5e-18, "love_number": 0.02, "time_lag_s": 10.0},
    "observer": {"longitude_deg": -70.0, "latitude_deg": -30.0, "height_m": 2400.0, "sunlight": "disc"},
    "campaign": {
        "nights_before": 3,
        "nights_after": 4,
        "night_h": 8.0,
        "mid_time_sigma_s": 60.0,
        "lost_fraction": 0.3,
        "seed": 1,
    },
    "requirement": {"period_change_s": 600.0, "precision_s": 60.0},
    "observed": {"period_change_s": -1580.0, "sigma_s": 3.0},
    "spacecraft": {"speed_at_infinity_m_s": 0.2, "impact_parameter_m": 5000.0, "distance_m": 1e4, "reflectance": 0.3},
    "boulders": [{"mass_kg": 900.0, "speed_m_s": 3.0, "direction": {"along_track": 1.0, "normal": 0.3}}],
    "sampling": {
        "seed": 1,
        "count": 3,
        "quantities": {
            "mutual_orbit.separation_m": {"normal": [821.0, 2.0]},
            "momentum_transfer.beta": {"lognormal": [2.2, 0.1]},
            "primary.semi_axes_m.0": {"uniform": [269.0, 273.0]},
        },
        "correlations": [["mutual_orbit.separation_m", "momentum_transfer.beta", 0.3]],
    },
    "expected": [{"quantity": "period_change_s", "value": -1500.0, "sigma": [10.0, 10.0], "source": "invented"}],
    "input_sigma": [{"keys": ["impactor.mass_kg"], "sigma": 3.0, "source": "invented"}],
}
MATERIAL = {"name": "perlite_sand"}
CHEAP = (["check"], ["check", "--json"])
DEAR = (["describe"], ["describe", "--json"], ["predict", "--nominal", "--json"], ["predict", "--nominal", "--budget"])
DEAREST = (
    ["predict", "--json"],
    ["predict", "--out", "p.h5", "--plot", "p.png"],
    ["events", "--days", "1", "--nominal"],
    ["events", "--days", "1", "--csv", "e.csv"],
    ["light-curve", "--days", "0.2", "--facets", "80"],
    ["plan"],
    ["infer", "--count", "200", "--runs", "32"],
    ["sensitivity", "--count", "256", "--runs", "32"],
    ["validate"],
    ["describe", "--plot", "d.png"],
    ["predict", "--nominal", "--plot-aim", "a.png"],
    ["timing", "--synthesise", "t.csv", "--days", "2"],
    ["sweep", "--sample", "random", "--out", "s.h5", "--workers", "1"],
    ["sweep", "--vary", "impactor.mass_kg=400,500", "--out", "s.h5", "--workers", "1", "--table", "summary"],
)


@cache
def base() -> dict:
    """The built-in system with short windows."""
    data = tomllib.loads(example().text)
    data["simulation"] |= {"days_before": 6.0, "days_after": 6.0}
    return data


@cache
def all_keys() -> tuple[str, ...]:
    return tuple(name for name in Scenario.known_keys() if "<" not in name)


def data(chance: random.Random) -> dict:
    """A scenario with some of the tables that it may have, right so far."""
    found = copy.deepcopy(base())
    for name, table in EXTRAS.items():
        if chance.random() < 0.2:
            found[name] = copy.deepcopy(table)
    if "velocity_change" in found and chance.random() < 0.9:
        for name in ("impactor", "momentum_transfer", "boulders"):
            found.pop(name, None)
        found.get("sampling", {}).get("quantities", {}).pop("momentum_transfer.beta", None)
        found.get("sampling", {}).pop("correlations", None)
        found.pop("input_sigma", None)
    elif chance.random() < 0.2:
        found["momentum_transfer"] = {"material": dict(MATERIAL)}
        found.get("sampling", {}).get("quantities", {}).pop("momentum_transfer.beta", None)
        found.get("sampling", {}).pop("correlations", None)
    return found


def _tables(found: dict) -> list[dict]:
    """All tables of a scenario, itself the first."""
    listed = [found]
    for value in found.values():
        if isinstance(value, dict):
            listed += _tables(value)
        elif isinstance(value, list):
            listed += [table for row in value if isinstance(row, dict) for table in _tables(row)]
    return listed


class Raw(str):
    """A value that is written into the file as it is."""


def mutated(chance: random.Random, found: dict) -> dict:
    """One thing of it is changed."""
    table = chance.choice(_tables(found))
    kind = chance.random()
    if kind < 0.3 and table:
        table[chance.choice(list(table))] = Raw(values.toml(chance))
    elif kind < 0.55 and (numbers := [key for key, value in table.items() if isinstance(value, (int, float))]):
        key = chance.choice(numbers)
        table[key] = Raw(values.near(float(table[key]), chance))
    elif kind < 0.65 and table:
        del table[chance.choice(list(table))]
    elif kind < 0.75:
        table[chance.choice(("nonsense", "mass", "beta", "", "a b", "\u202e", "x" * 200))] = Raw(values.toml(chance))
    elif kind < 0.95:
        name = chance.choice(all_keys()).split(".")
        place = found
        for part in name[:-1]:
            place = place.setdefault(part, {}) if isinstance(place, dict) else {}
        if isinstance(place, dict):
            place[name[-1]] = Raw(values.toml(chance))
    else:
        rows = [value for value in table.values() if isinstance(value, list) and value]
        if rows:
            row = chance.choice(rows)
            chance.choice((row.clear, row.pop, lambda: row.append(copy.deepcopy(row[0]))))()
    return found


def text_of(found: dict) -> str:
    """As TOML, raw values as they are."""
    held: list[str] = []

    def keep(value):
        if isinstance(value, Raw):
            held.append(str(value))
            return f"@@{len(held) - 1}@@"
        if isinstance(value, dict):
            return {key: keep(each) for key, each in value.items()}
        return [keep(each) for each in value] if isinstance(value, list) else value

    text = toml_text(keep(found))
    return re.sub(r'"@@(\d+)@@"', lambda match: held[int(match[1])], text)


def file(chance: random.Random, path: Path) -> None:
    """Write a scenario that is wrong in one to four places."""
    found = data(chance)
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        found = mutated(chance, found)
    raw = text_of(found).encode()
    if chance.random() < 0.1:
        raw = values.bytes_of(raw, chance)
    if chance.random() < 0.05:
        lines = raw.split(b"\n")
        lines.insert(chance.randrange(len(lines)), chance.choice(lines))
        raw = b"\n".join(lines)
    path.write_bytes(raw)


def case(number: int, folder: Path) -> list[str]:
    """A command line with such a file: mostly those that compute little."""
    chance = random.Random(f"scenario {number}")
    path = folder / "pair.toml"
    file(chance, path)
    words = chance.choice(CHEAP if chance.random() < 0.4 else DEAR if chance.random() < 0.75 else DEAREST)
    if words not in CHEAP and _is_dear(path):
        words = chance.choice(CHEAP)
    return [words[0], str(path), *words[1:]]


def _is_dear(path: Path) -> bool:
    """Whether it is accepted, and asks for kernels that take a minute to compile, or for years of simulation."""
    try:
        simulation = Scenario.from_text(path.read_text(encoding="utf-8"), "x", path.parent).simulation
    except (InputError, UnicodeDecodeError):
        return False
    is_new = simulation.degree not in (2, 4) or simulation.integrator == "gauss" or simulation.model_error != "none"
    return is_new or simulation.days_before > 400.0 or simulation.days_after > 400.0


def valid_text(**tables: dict) -> str:
    """The system as it is, with other tables, for what is not about scenarios."""
    return toml_text(json.loads(json.dumps(copy.deepcopy(base()) | tables)))
