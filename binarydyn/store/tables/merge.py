"""Results of several machines in one file: parts of one design, made from the same scenario by the same source."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from ...errors import InputError
from ...files.whole import check_place, target_of
from ...scenario.wording import one_line
from ..provenance import refuse_others
from ..result import Result, open_result, word_of
from .sweeps import blocks_of, design_attributes, write_sweep

_ADVICE = "name files of one sweep"


def merge(paths: Sequence[str | Path], out: str | Path) -> tuple[Result, np.ndarray]:
    """Join the rows of sweeps into a file, which may be one of them or there already; the result and what is missing.

    Members that several files have must have the same bits in all of them.  Of samples the largest count holds.
    InputError, naming the file, where one is no sweep, was not made from the same things, or contradicts another.
    """
    if not paths:
        raise InputError("merge", "no file is given, at least one result of a sweep is needed; name some")
    check_place(out)
    out = target_of(out)
    blocks = blocks_of(out)
    blocks.acquire()
    try:
        there = [out] if out.exists() and not any(out.samefile(path) for path in paths if Path(path).exists()) else []
        results = [_sweep(path) for path in (*paths, *there)]
        first = results[0].attributes
        for result in results[1:]:
            refuse_others(result.attributes, first, one_line(str(result.path)), _ADVICE)
        design = max((result.design for result in results), key=len)
        now = {"created_utc": datetime.now(UTC).isoformat(timespec="seconds")}
        attributes = first | design_attributes(design) | now
        write_sweep(out, blocks.folder, attributes, design, [result.rows for result in results])
    finally:
        blocks.release()
    merged = open_result(out)
    is_missing = np.ones(len(design), dtype=bool)
    is_missing[merged.rows.members] = False
    return merged, np.flatnonzero(is_missing)


def _sweep(path: str | Path) -> Result:
    result = open_result(path)
    if result.kind != "sweep":
        raise InputError(one_line(str(path)), f"this is a {word_of(result.kind)}, allowed is a sweep; leave it out")
    return result
