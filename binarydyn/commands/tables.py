"""How commands print tables and JSON, and ask for the place of a figure."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any


def check_figures(*paths: str) -> None:
    """Refuse figures that cannot be written before anything is computed; an empty path is none."""
    for path in filter(None, paths):
        from ..plots import check_path

        check_path(path)


def print_json(plain: Any) -> None:
    """Plain data on stdout.  ValueError for a number that JSON does not have."""
    print(json.dumps(plain, indent=2, allow_nan=False))


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
