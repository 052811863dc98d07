"""How commands print tables."""

from __future__ import annotations

import sys
from collections.abc import Sequence


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
