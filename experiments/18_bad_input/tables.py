"""Tables of event times with something wrong in them, read by `timing` and `infer`."""

from __future__ import annotations

import random
from pathlib import Path

import scenarios
import values

HEAD = ["mid_utc", "kind", "body", "sigma_s"]
NAMES = (
    "mid_utc",
    "kind",
    "body",
    "sigma_s",
    "extent",
    "contact1_utc",
    "contact4_utc",
    "mid_jd",
    "time",
    "",
    "\x1b[31m",
)
PERIOD_H = {"before": 10.4177, "after": 9.9793}


def rows(chance: random.Random) -> list[list[str]]:
    """Middles near those of the built-in system: twelve nights before and after t0, with noise."""
    from datetime import datetime, timedelta

    zero, found = datetime.fromisoformat("2033-04-12T07:41:00"), []
    for turn in range(-12, 13):
        hours = turn * (PERIOD_H["before"] if turn < 0 else PERIOD_H["after"])
        for kind, body, half in (("eclipse", "secondary", 0.0), ("occultation", "primary", 0.5)):
            if chance.random() < 0.7:
                late = chance.gauss(0.0, 60.0)
                moment = zero + timedelta(hours=hours + half * PERIOD_H["before"], seconds=late)
                found.append([moment.isoformat(), kind, body, "60"])
    return found or [["2033-04-13T07:41:00", "eclipse", "secondary", "60"]]


def text(chance: random.Random) -> bytes:
    """A table with one to three things changed."""
    head, found = list(HEAD), rows(chance)
    for _ in range(chance.choice((0, 1, 1, 2, 3))):
        row = chance.choice(found)
        kind = chance.randrange(9)
        if kind == 0:
            row[chance.randrange(len(row))] = chance.choice((values.number(chance), chance.choice(values.TEXTS)))
        elif kind == 1:
            row[0] = _moment(chance)
        elif kind == 2:
            row[3:] = [values.number(chance)]
        elif kind == 3:
            head[chance.randrange(len(head))] = chance.choice(NAMES)
        elif kind == 4:
            found.append(list(row))
        elif kind == 5:
            found[:] = found[: chance.randrange(1, 8)]
        elif kind == 6:
            row.append("more") if chance.random() < 0.5 else row.pop()
            row[:] = row or [""]
        elif kind == 7:
            for one in found:
                del one[3:]
            del head[3:]
        else:
            chance.shuffle(found)
    mark = chance.choices(",;\t|", (20, 1, 1, 1))[0]
    end = chance.choice(("\n", "\n", "\r\n", "\r", "\n\n"))
    quoted = [[f'"{cell}"' if chance.random() < 0.02 else cell for cell in line] for line in [head, *found]]
    raw = end.join(mark.join(line) for line in quoted).encode("utf-8", "surrogateescape")
    return values.bytes_of(raw, chance) if chance.random() < 0.25 else raw


def _moment(chance: random.Random) -> str:
    return chance.choice(
        (
            f"{chance.randrange(1960, 2110)}-{chance.randrange(14):02d}-{chance.randrange(33):02d}T07:41:00",
            f"2033-04-{chance.randrange(1, 31):02d}T{chance.randrange(26):02d}:{chance.randrange(62):02d}:00.5Z",
            "2033-04-13 07:41",
            "2033-04-13",
            "2033-04-13T07:41:00+05:30",
            "2463700.5",
            "nan",
            "13.04.2033",
            "",
        )
    )


def case(number: int, folder: Path) -> list[str]:
    """`timing`, rarely `infer`, with such a table."""
    chance = random.Random(f"table {number}")
    scenario, table = folder / "pair.toml", folder / "t.csv"
    scenario.write_text(scenarios.valid_text(sampling=scenarios.EXTRAS["sampling"]))
    table.write_bytes(text(chance))
    words = ["timing", str(scenario), "--events", str(table)]
    kind = chance.random()
    if kind < 0.05:
        return ["infer", *words[1:], "--count", "200", "--runs", "32"]
    if kind < 0.2:
        return [*words, "--json"]
    return [*words, "--robust"] if kind < 0.25 else [*words, "--plot", str(folder / "t.png")] if kind < 0.28 else words
