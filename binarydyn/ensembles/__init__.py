"""What if: designs of members and the rows they give."""

from .backends import BACKENDS, Backend, sweep
from .block import TABLES, Block
from .brief import brief_members
from .design import Design, Grid
from .drawn import Drawn
from .member_set import MemberSet
from .members import Row, member_scenario, swept
from .sample import Sample

__all__ = [
    "BACKENDS",
    "TABLES",
    "Backend",
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
