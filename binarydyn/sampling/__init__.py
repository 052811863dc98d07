"""Which members: grids, lists and samples of scenarios, the row that each gives, and what the rows say together."""

from .block import TABLES, Block
from .design import Design, Grid
from .member_set import MemberSet
from .members import Row, member_scenario, swept
from .sample import Sample

__all__ = [
    "TABLES",
    "Block",
    "Design",
    "Grid",
    "MemberSet",
    "Row",
    "Sample",
    "member_scenario",
    "swept",
]
