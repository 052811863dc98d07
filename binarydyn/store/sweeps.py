"""A sweep on its way into a file: rows stream in by blocks, and the same command goes on where the last one ended."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from ..ensembles import TABLES, Block, Design, Row, swept
from ..errors import InputError
from ..scenario import Scenario
from ..scenario.wording import one_line
from .blocks import ROWS, Blocks, part_of
from .files import check_place, image, put
from .groups import Column, write_group
from .provenance import attributes, refuse_others
from .result import Result, open_result

AXES = "design"


class SweepStore:
    """Where the rows of one sweep are kept; a context that locks the output and at its end saves what is there.

    InputError where the output cannot be written, is used by another process, or holds a result of something else.
    block_rows, block_s: a block is closed after so many rows or seconds; a kill loses at most that.
    table: which numbers the rows have, `full` or `brief`; all rows of a file have the same.
    """

    def __init__(
        self,
        path: str | Path,
        scenario: Scenario,
        design: Design,
        block_rows: int = 1000,
        block_s: float = 2.0,
        table: str = "full",
    ):
        if table not in TABLES:
            raise InputError("table", f"{table!r} is given, allowed is {' or '.join(TABLES)}; choose one")
        self.path, self.design = Path(path), design
        self.block_rows, self.block_s = block_rows, block_s
        design.check(scenario)
        check_place(path)
        tolerance = "varied" if "simulation.tolerance" in design.keys else swept(scenario).simulation.tolerance
        self.attributes = attributes(scenario, "sweep") | {
            "design": design.json,
            "design_sha256": design.sha256,
            "members": len(design),
            "tolerance": str(tolerance),
            "table": table,
        }
        self.was_complete = False
        self._blocks = Blocks(self.path.with_name(self.path.name + ".parts"))
        self._waiting: list[Row | Block] = []
        self._count = 0
        self._since = 0.0
        self._done: set[int] = set()

    def __enter__(self) -> SweepStore:
        if self.path.exists():
            self._check_finished()
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

    def _check_finished(self) -> None:
        """Refuse a file of something else; a finished sweep of the same has all members."""
        advice = "name another file or delete this one"
        refuse_others(open_result(self.path).attributes, self.attributes, one_line(str(self.path)), advice)
        self.was_complete = True

    def _begin(self) -> None:
        """See what is there, now that nobody else can change it."""
        if not self.was_complete and self.path.exists():
            self._check_finished()  # another process has just finished it
        if self.was_complete:
            self._blocks.remove()  # left by a kill between the rename and the removal
            return
        place = one_line(str(self._blocks.folder))
        for found, columns in self._blocks.read():
            refuse_others(found, self.attributes, place, "name another file or delete this folder")
            self._done.update(columns["member"].values.tolist())

    @property
    def damaged(self) -> list[str]:
        """A sentence for each block that was found damaged."""
        return self._blocks.damaged

    def done(self) -> set[int]:
        """Members that need no computing: those in valid blocks, all of them if the file is finished."""
        return set(range(len(self.design))) if self.was_complete else set(self._done)

    def append(self, row: Row) -> None:
        """Keep a row; it is on disk once its block is closed."""
        self._keep(row, 1)

    def append_block(self, block: Block) -> None:
        """Keep many rows at once; they are on disk once their block is closed."""
        if len(block):
            self._keep(block, len(block))

    def _keep(self, part: Row | Block, count: int) -> None:
        if not self._waiting:
            self._since = time.monotonic()
        self._waiting.append(part)
        self._count += count
        if self._count >= self.block_rows or time.monotonic() - self._since >= self.block_s:
            self.flush()

    def flush(self) -> None:
        """Close the block under way."""
        if not self._waiting:
            return
        parts = list(self._waiting)
        self._blocks.append(parts, self.attributes)
        for part in parts:
            self._done.update(part.members.tolist() if isinstance(part, Block) else [part.index])
        del self._waiting[: len(parts)]
        self._count = 0

    def finish(self) -> Result:
        """Join the blocks into the file.  InputError while members are missing."""
        if not self.was_complete:
            self.flush()
            columns = self._joined()
            if missing := len(self.design) - len(columns["member"].values):
                raise InputError(one_line(str(self.path)), f"{missing} members are missing; run the same sweep again")

            def fill(file) -> None:
                file.attrs.update(self.attributes)
                axes = getattr(self.design, "axes", ())
                write_group(file, AXES, {key: Column.of(key, list(v), key) for key, v in axes})
                write_group(file, ROWS, columns)

            put(self.path, image(fill))
            self._blocks.remove()
            self.was_complete = True
        return open_result(self.path)

    def _joined(self) -> dict[str, Column]:
        """All blocks in the order of members, with what each member varied; the same whatever the blocks were."""
        blocks = [columns for _, columns in self._blocks.read()]
        members, places = np.unique(np.concatenate([b["member"].values for b in blocks]), return_index=True)
        varied = [self.design.member(k) for k in members.tolist()]
        columns = {"member": Column.of("member", members, "member")}
        columns |= {key: Column.of(key, [inputs[key] for inputs in varied], "member") for key in self.design.keys}
        for name in max(blocks, key=len):
            if name != "member":
                columns[name] = Column(("member",), np.concatenate([part_of(b, name) for b in blocks])[places])
        return columns
