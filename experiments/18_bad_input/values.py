"""What stands in the place of a right value: numbers at and beyond every edge, texts that mean something elsewhere."""

from __future__ import annotations

import random

NUMBERS = (
    "0",
    "-0.0",
    "0.0",
    "1",
    "-1",
    "2",
    "0.5",
    "1e-308",
    "5e-324",
    "-5e-324",
    "1e308",
    "-1e308",
    "1.7976931348623157e308",
    "1e309",
    "nan",
    "-nan",
    "inf",
    "-inf",
    "9223372036854775807",
    "9223372036854775808",
    "-9223372036854775809",
    "1" + "0" * 400,
    "1e-30",
    "1e21",
    "1e6",
    "1_000",
    "0x10",
    "0o17",
    "0b1",
    "1e400",
    "3.0000000000000004",
    "90",
    "180",
    "360",
    "-360",
    "1e5",
    "1e-14",
    "1e-6",
)
TEXTS = (
    "",
    " ",
    "a",
    "\\u0000",
    "\\u001b[31mred\\u001b[0m",
    "\\u202e",
    "\\n\\n",
    "\\t",
    "\\\\",
    "é",
    "日本",
    "\\U0001F680",
    "%s",
    "{0}",
    "{x!r}",
    "$\\\\frac{",
    "../../etc/passwd",
    "/dev/zero",
    "/proc/self/mem",
    "-",
    "--json",
    "nan",
    "inf",
    "on",
    "2033-04-12T07:35:00",
    "2033-02-30T00:00:00",
    "9999-12-31T23:59:60",
    "0000-00-00",
    "1972-01-01T00:00:00Z",
    "2099-12-31T00:00:00",
    "x" * 3000,
    "<script>",
    "'; DROP",
    "synchronous",
    "density",
    "own",
    "sand",
    "impactor.mass_kg",
)
OTHERS = (
    "true",
    "false",
    "[]",
    "{}",
    "[[]]",
    "[1]",
    "[1, 2]",
    "[1, 2, 3]",
    "[3, 2, 1]",
    "[0, 0, 0]",
    "[nan, 1, 1]",
    '["a", "b"]',
    "[1, [2, [3]]]",
    "{a = 1}",
    "{normal = [1, 1]}",
    "{uniform = [1, 2]}",
    "{lognormal = [1, 0.1]}",
    "1979-05-27",
    "07:32:00",
    "1979-05-27T07:32:00Z",
    "[true]",
    "[{}]",
    "[{a = 1}]",
    "[1e308, 1e308, 1e308]",
    "[" * 50 + "]" * 50,
)


def number(chance: random.Random) -> str:
    """A number as text: an edge, one of any size, or a very long one."""
    kind = chance.random()
    if kind < 0.5:
        return chance.choice(NUMBERS)
    if kind < 0.8:
        return f"{chance.choice((1, -1)) * 10.0 ** chance.uniform(-20.0, 20.0):.6g}"
    return f"{chance.uniform(-10.0, 10.0):.17g}"


def toml(chance: random.Random) -> str:
    """Any value of TOML."""
    kind = chance.random()
    if kind < 0.6:
        return number(chance)
    return f'"{chance.choice(TEXTS)}"' if kind < 0.8 else chance.choice(OTHERS)


def near(value: float, chance: random.Random) -> str:
    """A number that may well be allowed where this one is."""
    factor = chance.choice((0.0, -1.0, 0.1, 0.5, 0.9, 0.999999, 1.000001, 1.1, 2.0, 10.0, 100.0))
    return repr(value * factor if value else chance.choice((1e-9, 0.1, 1.0, 10.0, 45.0)))


def bytes_of(data: bytes, chance: random.Random) -> bytes:
    """Bytes that were cut, repeated, overwritten or strewn with others."""
    data = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 5))):
        kind, place = chance.randrange(5), chance.randrange(len(data) + 1)
        if kind == 0:
            del data[place:]
        elif kind == 1:
            del data[place : place + chance.randrange(1, 40)]
        elif kind == 2:
            data[place:place] = bytes(chance.randrange(256) for _ in range(chance.randrange(1, 20)))
        elif kind == 3 and place < len(data):
            data[place] = chance.randrange(256)
        else:
            end = place + chance.randrange(1, 400)
            data[place:place] = data[place:end]
    return bytes(data)
