"""How quantities are named beside an axis, and how numbers are written."""

from __future__ import annotations

import math

from ..prediction.outcomes import long_name_of
from ..units import printed_unit_of

MINUS, DASH = "\N{MINUS SIGN}", "\N{EN DASH}"
_NAMED = {
    **{
        f"{body}.semi_axes_m.{i}": f"{body} semi-axis {'abc'[i]}" for body in ("primary", "secondary") for i in range(3)
    },
    "impactor.aim_offset_m.0": "aim offset u",
    "impactor.aim_offset_m.1": "aim offset v",
    "momentum_transfer.beta": "beta",
    "mutual_orbit.separation_m": "separation",
}
"""Names that are better known, or plainer, than the words of the key."""


def axis_unit(name: str) -> str:
    """Unit of a dotted name; empty where it carries none."""
    if name.startswith("simulation.days_"):
        return "d"
    return printed_unit_of(name)


def label_of(name: str) -> str:
    """`impactor.speed_km_s` -> `impactor speed, km/s`."""
    words = _NAMED.get(name) or long_name_of(name)
    return f"{words}, {axis_unit(name)}" if axis_unit(name) else words


def number(value: float | None, form: str, unit: str = "") -> str:
    """The number with a true minus sign and its unit; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return DASH
    text = format(value, form)
    if not text.strip("+-0."):
        text = text.lstrip("+-")  # what rounds to zero has no sign
    text = text.replace("-", MINUS)
    return f"{text} {unit}" if unit else text
