"""What makes a scenario a reference case: what is published about it, and how uncertain its inputs are."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from ..fields import Number, Table, key, refusal

_ANY = (-1e30, 1e30)


def _both_sides(value: Any) -> Any:
    """One sigma stands for [minus, plus] of the same size."""
    return (value, value) if isinstance(value, int | float) and not isinstance(value, bool) else value


class Expected(Table):
    """One published value, or one handbook formula, that a quantity of this scenario is compared with.

    Without value and formula the quantity is shown and not compared.
    """

    quantity: str = key(..., "", "what is compared, its unit at the end of the name; validate lists the names")
    given: Number | None = key(None, "", "what the quantity starts from, where it solves for something", *_ANY)
    given_sigma: Number = key(0.0, "", "of `given`; 0 because few quantities start from anything", 0.0, 1e30)
    value: Number | None = key(None, "", "as published, in the unit of the quantity", *_ANY)
    formula: str = key("", "", "a handbook formula in place of a value; validate lists the names")
    sigma: Annotated[tuple[Number, Number], BeforeValidator(_both_sides)] | None = key(
        None,
        "",
        "one sigma of the source, or [minus, plus]; of a formula: what it neglects; never that of this package",
        0.0,
        1e30,
        open_low=True,
    )
    source: str = key("", "", "authors, year, journal, volume, page; say where a value is from memory")
    note: str = key("", "", "what a reader of the comparison should know")
    inputs_not_counted: str = key("", "", "why the sigma of the inputs is left out of the verdict; empty counts it")
    known_discrepancy: str = key("", "", "why the value is honestly missed; empty expects agreement")

    @model_validator(mode="after")
    def _complete(self) -> Expected:
        if self.value is not None and self.formula:
            raise refusal("formula", "value and formula are both given, at most one is allowed; remove one of them")
        compared = self.value is not None or bool(self.formula)
        for name in ("sigma", "source"):
            if compared and not getattr(self, name):
                raise refusal(name, f"{name} is missing, a comparison needs it; add it")
        if not compared and (self.sigma or self.known_discrepancy):
            raise refusal(
                "value", "sigma or known_discrepancy is given without a value or formula to compare with; add one"
            )
        return self


class InputSigma(Table):
    """How uncertain an input is; several keys that are one measured quantity move together."""

    keys: tuple[str, ...] = key(..., "", 'scenario keys such as ["mutual_orbit.separation_m"]')
    sigma: Number = key(..., "", "one sigma of the source, in the unit of the keys", 0.0, 1e30, open_low=True)
    source: str = key(..., "", "authors, year, journal, volume, page; say where a value is from memory")

    @model_validator(mode="after")
    def _some(self) -> InputSigma:
        if not self.keys:
            raise refusal("keys", "an empty list is given, at least one key is needed; name one")
        return self
