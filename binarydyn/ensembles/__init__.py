"""What if: designs of members and the rows they give."""

from .block import TABLES, Block
from .brief import brief_members
from .design import Design, Grid
from .drawn import Drawn
from .member_set import MemberSet
from .members import Row, member_scenario, sweep, swept
from .sample import Sample

__all__ = [
    "TABLES",
    "Block",
    "Design",
    "Drawn",
    "Grid",
    "MemberSet",
    "Row",
    "Sample",
    "brief_members",
    "member_scenario",
    "sweep",
    "swept",
]
