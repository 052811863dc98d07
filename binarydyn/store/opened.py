"""What is saved and opened again: a file gives back a thing of the class, and with the properties, that it had."""

from __future__ import annotations

from .members import Members
from .result import Result


def stored_members(result: Result) -> Members:
    """The members of a stored sweep, or those that were drawn beside a stored prediction."""
    return Members.lazily(
        scenario=lambda: result.scenario,
        design=lambda: result.sample or result.design,
        columns=lambda: result.columns,
        table=lambda: result.attributes.get("table", "full"),
        options=lambda: result.attributes.get("table_options", ""),
    )
