"""One outcome: a row of the table in outcomes.py, what it follows from, and how its values are written."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import Flag, auto
from functools import reduce
from typing import Any, Literal, Protocol

from ..impact import Impact
from ..observables.chaos import Chaos
from ..relaxed.start import Start
from ..scenario import Scenario
from ..units import printed_unit_of
from .windows import Side

Value = float | str | bool | None
Group = Literal["headline", "impact", "orbit", "attitude", "stability", "numerics"]
TEXT, FLAG, WHOLE, NUMBER = "text", "yes/no", "d", "number"
"""Kinds; the first three are forms too, any other form is the format of a number."""


class Predicted(Protocol):
    """What outcomes follow from: a Prediction."""

    @property
    def scenario(self) -> Scenario: ...
    @property
    def start(self) -> Start: ...
    @property
    def impact(self) -> Impact: ...
    @property
    def before(self) -> Side: ...
    @property
    def after(self) -> Side: ...
    @property
    def chaos(self) -> Chaos: ...
    @property
    def period_change_s(self) -> float | None: ...


class Outlets(Flag):
    """Where an outcome is shown beside JSON and files, which have all that a prediction gives.

    PRINT: text of `predict`.  PAGE: its figure.  MEMBERS: statistics of members.  SUMMARY: summary tables; NEIGHBOURS:
    those with neighbouring trajectories.  NOTEBOOK: its table there.
    """

    NOWHERE = 0
    PRINT = auto()
    PAGE = auto()
    MEMBERS = auto()
    SUMMARY = auto()
    NEIGHBOURS = auto()
    NOTEBOOK = auto()


@dataclass(frozen=True)
class Outcome:
    """name: ends in the unit (units.py), and says whether it is before or after the impact; label: the same for both.

    of: how it follows from a prediction; None where only summary tables have it.  form: how a value is written, `+`
    first where the sign is always told.
    """

    name: str
    label: str
    of: Callable[[Any], Value] | None
    form: str = ".4g"
    shown: Outlets = Outlets.NOWHERE
    group: Group = "headline"

    @property
    def kind(self) -> str:
        """TEXT, FLAG, WHOLE or NUMBER."""
        return self.form if self.form in (TEXT, FLAG, WHOLE) else NUMBER

    @property
    def unit(self) -> str:
        """Empty where it has none."""
        return printed_unit_of(self.name)

    @property
    def long_name(self) -> str:
        """The label with the side of the impact."""
        side = next((side for side in ("before", "after") if f"_{side}" in self.name), "")
        return f"{self.label} {side} the impact" if side else self.label

    @property
    def label_with_unit(self) -> str:
        """For the head of a row or an axis."""
        return f"{self.label}, {self.unit}" if self.unit else self.label

    @property
    def name_before(self) -> str:
        """What the same quantity before the impact is called; empty for one that has no side."""
        return self.name.replace("_after", "_before") if "_after" in self.name else ""

    def text(self, value: Value) -> str:
        """A value for a reader, without its unit; `-` where it is not defined."""
        if value is None or isinstance(value, str):
            return value or "-"
        if self.kind == FLAG:
            return "yes" if value else "no"
        sign, form = ("+", self.form[1:]) if self.form[0] == "+" else ("", self.form)
        return format(value, f"{sign}{'z' * (form != WHOLE)}{form}") if math.isfinite(value) else "-"

    def said(self, value: Value) -> str:
        """A value with its unit."""
        return f"{self.text(value)} {self.unit}".rstrip()


def at(path: str, place: str = "") -> Callable[[Predicted], Any]:
    """What lies at a dotted path of a prediction, or of a place in it; None where a part of the path is None."""
    parts = f"{place}.{path}".strip(".").split(".")
    return lambda prediction: reduce(
        lambda part, name: None if part is None else getattr(part, name), parts, prediction
    )
