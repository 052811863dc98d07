"""A sweep on its way into a file: rows stream in by blocks, and the same command goes on where the last one ended."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from ...ensembles import Backend
from ...errors import ArgumentError, InputError
from ...files.whole import check_place, put_large, target_of
from ...sampling import TABLES, Block, Design, MemberSet, Row, Sample, swept
from ...sampling.listed import as_text
from ...scenario import Scenario
from ...scenario.wording import counted, one_line
from ..groups import Column, write_group
from ..provenance import attributes, made_otherwise, refuse_others
from ..result import Result, open_result
from .blocks import Blocks, KeptBlock
from .joined import Joined
from .table import Source

AXES = "design"


class SweepStore:
    """Where the rows of one sweep are kept; a context that locks the output and at its end saves what is there.

    InputError where the output cannot be written, is used by another process, or holds a result of something else.
    block_rows, block_s: a block is closed after so many rows or seconds; a kill loses at most that.  block_s None: a
    quarter of the time since the first row, 1 s at most, so that who is killed again and again still gets on.
    table: which numbers the rows have, `full` or `summary`, options: how they are computed; all rows of a file have the
    same.  told: attributes that decide nothing, such as where the rows were computed; those of who finishes the file.
    part: the members that are wanted, None: all.  A finished file may have members outside of it, or of a smaller
    sample: they stay in it, and it grows.
    """

    def __init__(
        self,
        path: str | Path,
        scenario: Scenario,
        design: Design,
        block_rows: int = 5000,
        block_s: float | None = None,
        table: str = "full",
        part: range | None = None,
        options: str = "",
        told: Mapping[str, str] | None = None,
    ):
        if table not in TABLES:
            raise InputError("table", f"{table!r} is given, allowed is {' or '.join(TABLES)}; choose one")
        design.check(scenario)
        check_place(path)
        self.path, self.design = target_of(path), design
        self.block_rows, self.block_s = block_rows, block_s
        self.attributes = sweep_attributes(scenario, design, table) | {"table_options": options} | dict(told or {})
        self.wanted = MemberSet(len(design), range(len(design)) if part is None else part)
        self.was_complete = False
        self._blocks = blocks_of(self.path)
        self._kept: list[KeptBlock] = []
        self._base: Result | None = None
        self._done = MemberSet(len(design))
        self._waiting: list[Row | Block] = []
        self._count, self._since = 0, 0.0
        self._first: float | None = None

    @classmethod
    def by(
        cls, how: Backend, path: str | Path, scenario: Scenario, design: Design, part: range | None = None
    ) -> SweepStore:
        """Of rows that are computed so."""
        options = how.summary.words if how.summary else ""
        return cls(path, scenario, design, table=how.table, part=part, options=options, told=how.told)

    def __enter__(self) -> SweepStore:
        self._see_file()
        if not self.was_complete or self._blocks.folder.is_dir():
            self._blocks.acquire()
            try:
                self._begin()
            except BaseException:
                self._blocks.release()
                raise
        return self

    def __exit__(self, *_) -> None:
        try:
            self.flush()
        finally:
            self._blocks.release()

    def _see_file(self) -> None:
        """What is in the file already; refuse one of something else."""
        if not self.path.exists():
            return
        self._base = open_result(self.path)
        advice = "name another file or delete this one"
        self._refuse(self._base.attributes, one_line(str(self.path)), advice)
        self._take(self._base.rows.members, one_line(str(self.path)))
        self.was_complete = not (self.wanted.mask & ~self._done.mask).any()

    def _begin(self) -> None:
        """See what is there, now that nobody else can change it."""
        self._see_file()  # another process may have finished it by now
        place = one_line(str(self._blocks.folder))
        in_file = self.done()
        for found, block in self._blocks.read():
            if self.was_complete and made_otherwise(found, self.attributes):
                continue
            self._refuse(found, place, "name another file or delete this folder")
            if in_file.has(block.members):
                self._blocks.remove([block])  # left by a kill between the rename and the removal
            elif not self.was_complete:
                self._take(block.members, place)
                self._kept.append(block)

    def _refuse(self, found: dict[str, Any], place: str, advice: str) -> None:
        """InputError where rows were not made from the same things, a sample of another size apart that can grow."""
        asked, held = self.attributes["design"], found.get("design", "")
        if isinstance(self.design, Sample) and self.design.kind == "latin" and held.startswith('{"sample"'):
            there = Sample.from_json(held)
            if there.count != self.design.count and replace(there, count=self.design.count).json == asked:
                raise ArgumentError(
                    "count",
                    f"{self.design.count} is given and {place} holds a Latin hypercube of {there.count}, whose members "
                    "depend on the count, so it cannot be extended; name another file, or draw random or sobol members",
                )
        refuse_others(found, self.attributes, place, advice)

    def _take(self, members: Any, place: str) -> None:
        if len(members) and members.max() >= len(self.design):
            raise InputError(
                place,
                f"it holds members up to {members.max()}, {len(self.design)} are asked for, allowed is at least "
                f"{members.max() + 1}; ask for more or name another file",
            )
        self._done.add(members)

    @property
    def damaged(self) -> list[str]:
        """A sentence for each block that was found damaged."""
        return self._blocks.damaged

    def done(self) -> MemberSet:
        """Members that are kept."""
        return MemberSet(len(self.design), self._done)

    def needless(self) -> MemberSet:
        """Members that need no computing: those that are kept, and those that are not wanted."""
        found = self.done()
        found.mask |= ~self.wanted.mask
        return found

    def keep(self, part: Row | Block) -> None:
        """Keep a row or many at once; they are on disk once their block is closed."""
        count = len(part) if isinstance(part, Block) else 1
        if not count:
            return
        now = time.monotonic()
        self._first = now if self._first is None else self._first
        if not self._waiting:
            self._since = now
        self._waiting.append(part)
        self._count += count
        longest_s = min(1.0, 0.25 * (now - self._first)) if self.block_s is None else self.block_s
        if self._count >= self.block_rows or now - self._since >= longest_s:
            self.flush()

    def flush(self) -> None:
        """Close the block under way."""
        if not self._waiting:
            return
        parts = list(self._waiting)
        block = self._blocks.append(parts, self.attributes)
        self._kept.append(block)
        self._done.add(block.members)
        del self._waiting[: len(parts)]
        self._count = 0

    def finish(self) -> Result:
        """Join what is kept into the file.  InputError while wanted members are missing."""
        if not self.was_complete:
            self.flush()
            if missing := int((self.wanted.mask & ~self._done.mask).sum()):
                raise InputError(
                    one_line(str(self.path)), f"{counted(missing, 'member')} missing; run the same sweep again"
                )
            base: list[Source] = [self._base.rows] if self._base else []
            write_sweep(self.path, self._blocks.folder, self.attributes, self.design, [*base, *self._kept])
            self._blocks.remove(self._kept)
            self.was_complete = True
        return open_result(self.path)


def blocks_of(path: Path) -> Blocks:
    """The folder of blocks that belongs to a result file."""
    return Blocks(path.with_name(path.name + ".parts"))


def sweep_attributes(scenario: Scenario, design: Design, table: str) -> dict[str, Any]:
    """Attributes of a sweep's file."""
    tolerance = "varied" if "simulation.tolerance" in design.keys else swept(scenario).simulation.tolerance
    found = attributes(scenario, "sweep") | design_attributes(design)
    return found | {"tolerance": str(tolerance), "table": table}


def design_attributes(design: Design) -> dict[str, Any]:
    """What a file says of a design; the seed of drawn members is that of the design."""
    seed = {"seed": str(design.seed)} if hasattr(design, "seed") else {}
    return {"design": as_text(design), "design_sha256": design.sha256, "members": len(design), **seed}


def write_sweep(
    path: Path, folder: Path, attributes: dict[str, Any], design: Design, sources: Sequence[Source]
) -> None:
    """Join rows of sources into a file.  InputError where they contradict each other or it cannot be written."""
    joined = Joined(design, sources)

    def fill(file) -> None:
        file.attrs.update(attributes)
        write_group(file, AXES, {key: Column.of(key, list(v), key) for key, v in getattr(design, "axes", ())})
        joined.write(file)

    put_large(path, folder / ".joined.tmp", joined.room, fill)
