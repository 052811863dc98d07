"""Why members of a sweep did not end well, counted by reason: sentences that differ in their numbers alone are one."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from .stored_rows import StoredRows
from .table import coded

_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?([eE][-+]?\d+)?")


@dataclass(frozen=True)
class Failure:
    """One kind of end: its status, its reason with `#` for numbers, how many members, and the first with its own."""

    status: str
    reason: str
    members: int
    first_member: int
    first_reason: str


def failures(rows: StoredRows) -> list[Failure]:
    """All kinds of ends but `completed`, the most frequent first."""
    status, reason = coded(rows.column("status")), coded(rows.column("reason"))
    words, sentences = (*status.words, ""), (*reason.words, "")
    pairs = status.codes.astype(np.int64) * len(sentences) + reason.codes
    _, first, count = np.unique(pairs, return_index=True, return_counts=True)
    kinds: dict[tuple[str, str], tuple[int, int, str]] = {}
    for place, members in zip(first.tolist(), count.tolist(), strict=True):
        word, sentence = words[status.codes[place]], sentences[reason.codes[place]]
        if word != "completed":
            key = word, _NUMBER.sub("#", sentence)
            before, earliest, example = kinds.get(key, (0, place, sentence))
            kinds[key] = before + members, min(place, earliest), sentence if place <= earliest else example
    members = rows.members
    listed = [Failure(*key, count, int(members[place]), text) for key, (count, place, text) in kinds.items()]
    return sorted(listed, key=lambda failure: (-failure.members, failure.first_member))
