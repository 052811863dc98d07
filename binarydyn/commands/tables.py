"""How commands print tables, and write them as CSV."""

from __future__ import annotations

import csv
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..scenario.wording import one_line


def print_table(head: Sequence[str], cells: Sequence[Sequence[str]]) -> None:
    """A rich table on a terminal; aligned plain text elsewhere, so that grep and diff work on it."""
    if sys.stdout.isatty():
        from rich.console import Console
        from rich.markup import escape
        from rich.table import Table

        table = Table(*head, box=None, pad_edge=False, header_style="bold")
        for row in cells:
            table.add_row(*(escape(cell) for cell in row), style="bold" if row[-1] == "differs" else "")
        Console().print(table)
        return
    widths = [max(len(row[i]) for row in [head, *cells]) for i in range(len(head))]
    for row in [head, *cells]:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def write_csv(path: str, rows: Sequence[Mapping[str, Any]]) -> None:
    """Rows with the same names as a CSV file with a head.

    InputError where it cannot be written.
    """
    try:
        with Path(path).open("w", newline="", encoding="utf-8") as stream:
            writer = csv.DictWriter(stream, fieldnames=list(rows[0]) if rows else ["side"])
            writer.writeheader()
            writer.writerows(rows)
    except OSError as error:
        raise InputError(one_line(path), f"it cannot be written ({error.strerror}); choose another place") from None
