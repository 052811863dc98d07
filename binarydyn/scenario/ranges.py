"""The range that a key declares: whether numbers lie in it, and how it is written."""

from __future__ import annotations

import math
from typing import Any


def range_text(facts: dict[str, Any]) -> str:
    """The allowed range in words, such as `0.1 .. 1e+06 m`; empty where there is none."""
    if facts["choices"]:
        return " or ".join(str(choice) for choice in facts["choices"])
    if facts["low"] is None:
        return ""
    start = f"above {facts['low']:g} to" if facts["open_low"] else f"{facts['low']:g} .."
    return f"{start} {facts['high']:g} {facts['unit']}".rstrip() + (", either sign" if facts["signed"] else "")


def is_finite(value: float) -> bool:
    """As math.isfinite, which fails on whole numbers beyond the range of a float."""
    return -math.inf < value < math.inf


def in_range(value: float, facts: dict[str, Any]) -> bool:
    """Whether a number lies in the declared range; nan and infinities never do."""
    if facts["low"] is None:
        return is_finite(value)
    size = abs(value) if facts["signed"] else value
    return facts["low"] <= size <= facts["high"] and not (facts["open_low"] and size == facts["low"])


def are_in_range(values, facts: dict[str, Any]):
    """(n,) whether each of an array (n,) of numbers lies in the declared range, as in_range has it for one."""
    if facts["low"] is None:
        return abs(values) < math.inf
    size = abs(values) if facts["signed"] else values
    inside = (size >= facts["low"]) & (size <= facts["high"])
    return inside & (size > facts["low"]) if facts["open_low"] else inside
