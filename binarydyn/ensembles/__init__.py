"""What if: designs of members and the rows they give."""

from .design import Design, Grid
from .members import Row, member_scenario, sweep, swept

__all__ = ["Design", "Grid", "Row", "member_scenario", "sweep", "swept"]
