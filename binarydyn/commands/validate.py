"""`binarydyn validate`: what the package gives for published cases, beside what is published."""

from __future__ import annotations

import sys
import textwrap
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from ..errors import InputError
from ..scenario import Scenario, load
from ..terminal.options import Json
from ..terminal.tables import print_json, print_table
from ..validation.formulas import FORMULAS
from ..validation.quantities import quantities
from ..validation.validate import KNOWN_MISS, LIMIT_SIGMAS, MISS, PASS, SHOWN, Comparison, compared, reference_files
from .shell import CAUTION

_WIDTH = 100
_HEAD = ("#", "quantity", "ours", "theirs", "sigma", "inputs", "off", "verdict")
_COLUMNS = (2, 28, 11, 9, 7, 9, 6, 10)
"""One width in all cases, so that their tables read as one of at most 100 columns."""


def validate(
    files: Annotated[
        list[str] | None, typer.Argument(help="Reference cases (TOML). [default: all of the package]")
    ] = None,
    as_json: Json = False,
    names: Annotated[
        bool, typer.Option("--names", help="List the quantities that a reference case can compare.")
    ] = False,
) -> int:
    """Run every case, compare, and fail only on a miss that is not known."""
    if names:
        if files or as_json:
            raise InputError("--names", "something is given with it, allowed is --names alone; leave the rest out")
        return _print_names()
    scenarios = [load(file) for file in files or reference_files()]
    results = []
    for scenario in scenarios:
        if sys.stderr.isatty():
            print(f"running {scenario.name} ...", file=sys.stderr)
        results.append((scenario, compared(scenario)))
        if not as_json:
            _print_case(*results[-1])
    counts = Counter(row.verdict for _, rows in results for row in rows)
    if as_json:
        print_json(_plain(results, counts))
    else:
        _print_summary(counts)
    return 1 if counts[MISS] else 0


def _print_names() -> int:
    rows = [(name, quantity.says, quantity.needs_given or "-") for name, quantity in quantities().items()]
    print_table(("quantity", "what it is", "given"), rows)
    print()
    print_table(("formula", "what it is"), [(n, str(f.__doc__).partition("\n")[0]) for n, f in FORMULAS.items()])
    return 0


def _print_case(scenario: Scenario, rows: Sequence[Comparison]) -> None:
    print(textwrap.fill(f"{scenario.name}: {Path(scenario.place).name}", _WIDTH))
    cells = [_cells(number, row) for number, row in enumerate(rows, start=1)]
    print_table(_HEAD, [[cell.ljust(width) for cell, width in zip(row, _COLUMNS, strict=True)] for row in cells])
    for number, row in enumerate(rows, start=1):
        if sentence := _about(row):
            print(textwrap.fill(sentence, _WIDTH, initial_indent=f"  [{number}] ", subsequent_indent="      "))
    print()


def _cells(number: int, row: Comparison) -> tuple[str, ...]:
    expected, off = row.expected, row.difference_sigmas
    given = "" if expected.given is None else f" {expected.given:g}"
    inputs = f"{row.sigma_inputs:.2g}" if row.inputs else "-"
    return (
        str(number),
        expected.quantity + given,
        _text(row.ours),
        _text(row.theirs),
        _sigma(row),
        f"({inputs})" if row.inputs and expected.inputs_not_counted else inputs,
        "-" if off is None else f"{off:+.2f}" if abs(off) < 99.5 else f"{off:+.0f}",
        row.verdict,
    )


def _sigma(row: Comparison) -> str:
    if row.expected.sigma is None:
        return "-"
    minus, plus = row.expected.sigma
    return f"{plus:.2g}" if minus == plus else f"-{minus:.2g}+{plus:.2g}"


def _text(value: float | None) -> str:
    return "-" if value is None else f"{value:.6g}"


def _about(row: Comparison) -> str:
    """What stands below the table about one row."""
    expected, parts = row.expected, []
    if expected.source:
        parts.append(f"{expected.source}{', formula ' + expected.formula if expected.formula else ''}")
    parts += [expected.note] if expected.note else []
    if row.inputs and expected.inputs_not_counted:
        parts.append(f"inputs not counted: {expected.inputs_not_counted}")
    if expected.known_discrepancy:
        parts.append(f"known miss: {expected.known_discrepancy}")
        parts += ["it passes now: remove known_discrepancy"] if row.verdict == PASS else []
    parts += [f"no value: {row.reason}"] if row.reason else []
    return "; ".join(parts)


def _print_summary(counts: Counter) -> None:
    print("off = (ours - theirs) / sqrt(sigma^2 + inputs^2); inputs in brackets do not count; pass within 3")
    print(
        f"{counts[PASS]} passed, {counts[KNOWN_MISS]} missed and known, {counts[MISS]} newly missed, "
        f"{counts[SHOWN]} shown without a value to compare"
    )
    print(CAUTION)


def _plain(results: Sequence[tuple[Scenario, Sequence[Comparison]]], counts: Counter) -> dict[str, Any]:
    names = {PASS: "passed", KNOWN_MISS: "known_discrepancies", MISS: "new_discrepancies", SHOWN: "shown"}
    return {
        "cases": [
            {"name": scenario.name, "file": scenario.place, "sha256": scenario.sha256, "rows": [_row(r) for r in rows]}
            for scenario, rows in results
        ],
        "counts": {name: counts[verdict] for verdict, name in names.items()},
        "limit_sigmas": LIMIT_SIGMAS,
        "caution": CAUTION,
    }


def _row(row: Comparison) -> dict[str, Any]:
    expected = row.expected
    return {
        "quantity": expected.quantity,
        "given": expected.given,
        "given_sigma": expected.given_sigma,
        "ours": row.ours,
        "theirs": row.theirs,
        "formula": expected.formula or None,
        "sigma_minus_plus": expected.sigma,
        "sigma_inputs": row.sigma_inputs,
        "sigma_by_input": dict(row.inputs),
        "inputs_counted": not expected.inputs_not_counted,
        "difference_sigmas": row.difference_sigmas,
        "verdict": row.verdict,
        "source": expected.source,
        "note": expected.note,
        "inputs_not_counted": expected.inputs_not_counted,
        "known_discrepancy": expected.known_discrepancy,
        "reason": row.reason,
    }
