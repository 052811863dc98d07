"""How commands print tables and JSON, and ask for the places of files beforehand."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

from ..scenario.wording import table_lines
from .stdout import ReaderGone, terminal

if TYPE_CHECKING:
    from ..scenario import Scenario


def check_outputs(outputs: Mapping[str, str], scenario: Scenario | None, *inputs: str) -> None:
    """Refuse, before anything is computed, figures that cannot be written, and outputs that are one file or an input.

    outputs: option and path of each, an empty one for none.  inputs: files that are read beside the scenario's meshes.
    """
    given = {option: path for option, path in outputs.items() if path}
    if not given:
        return
    from ..ensembles.identity import meshes_of
    from ..files.whole import check_apart

    check_apart(given, [*inputs, *(meshes_of(scenario) if scenario else ())])
    for option, path in given.items():
        if option.startswith("--plot"):
            from ..plots import check_path

            check_path(path)


@contextmanager
def told_after(say: Callable[[], None]) -> Iterator[None]:
    """Files are written inside, the text is said after: a reader who goes away loses no file, a full disk no number."""
    try:
        yield
    except BaseException:
        with suppress(ReaderGone):
            say()
            sys.stdout.flush()
        raise
    say()
    sys.stdout.flush()


def print_json(plain: Any) -> None:
    """Plain data on stdout; a number that JSON does not have, as a file may hold it, is null."""
    print(json.dumps(_in_json(plain), indent=2, allow_nan=False))


def _in_json(plain: Any) -> Any:
    if isinstance(plain, dict):
        return {key: _in_json(value) for key, value in plain.items()}
    if isinstance(plain, list | tuple):
        return [_in_json(value) for value in plain]
    return None if isinstance(plain, float) and not math.isfinite(plain) else plain


def number_cell(value: float | None, form: str) -> str:
    """A number as it stands in a table; `-` where there is none, or none that is finite."""
    return "-" if value is None or not math.isfinite(value) else format(value, form)


def print_table(head: Sequence[str], cells: Sequence[Sequence[str]]) -> None:
    """A rich table on a terminal; aligned plain text elsewhere, so that grep and diff work on it."""
    if sys.stdout.isatty():
        from rich.console import Console
        from rich.markup import escape
        from rich.table import Table

        table = Table(*head, box=None, pad_edge=False, header_style="bold")
        for row in cells:
            table.add_row(*(escape(table_lines(cell)) for cell in row), style="bold" if row[-1] == "differs" else "")
        Console(file=terminal()).print(table)
        return
    widths = [max(len(row[i]) for row in [head, *cells]) for i in range(len(head))]
    for row in [head, *cells]:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
