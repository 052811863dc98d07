"""What a worker in another process is sent, all of it text and whole numbers, and what it does with it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import lru_cache, partial

from ..batch.cases import accumulated
from ..batch.summary import BriefOptions, block_of
from ..sampling.block import Block
from ..sampling.design import Design
from ..sampling.listed import as_text, design_of
from ..sampling.members import Row, row_of
from ..scenario import Scenario
from ..scenario.wording import one_line
from .identity import identity

ONE_THREAD = partial(accumulated, workers=1)
"""Steps in lanes of the thread that asks: others have blocks of their own."""


@dataclass(frozen=True)
class Asked:
    """A sweep as text: the scenario as `swept` gives it and where it came from, the design; brief: None for full rows.

    identity: what decides the numbers where it was asked, ((name, value), ..); a worker must have the same.
    """

    scenario: str
    place: str
    folder: str
    design: str
    brief: BriefOptions | None
    identity: tuple[tuple[str, str], ...]

    @classmethod
    def of(cls, base: Scenario, design: Design, brief: BriefOptions | None = None) -> Asked:
        folder = str(base.folder.resolve())
        return cls(base.text, base.place, folder, as_text(design), brief, tuple(identity(base).items()))


@dataclass(frozen=True)
class Done:
    """What came of some members, and the seconds that took; `refusal` in place of them where a worker is another."""

    parts: tuple[Row | Block, ...] = ()
    seconds: float = 0.0
    refusal: str = ""


def computed(asked: Asked, members: tuple[int, ...]) -> Done:
    """Compute some members in this process."""
    begun = time.monotonic()
    base, design, refusal = _built(asked)
    if refusal:
        return Done(refusal=refusal)
    if asked.brief:
        parts: tuple[Row | Block, ...] = (block_of(base, design, members, asked.brief, ONE_THREAD),)
    else:
        parts = tuple(row_of(base, design, k) for k in members)
    return Done(parts, time.monotonic() - begun)


@lru_cache(maxsize=4)
def _built(asked: Asked) -> tuple[Scenario, Design, str]:
    """Scenario and design, kept for the next members, and why this process would not give the same rows."""
    base = Scenario.from_text(asked.scenario, asked.place, asked.folder)
    design = design_of(asked.design)
    try:
        here = identity(base)
    except Exception as error:
        return base, design, one_line(str(error))
    other = [f"{name} ({here[name]}, here {value})" for name, value in asked.identity if here[name] != value]
    return base, design, f"a worker has another state of {', '.join(other)}; install the same" if other else ""
