"""What if: designs of members and the rows they give."""

from .design import Design, Grid
from .members import Row, member_scenario, sweep, swept
from .sample import Sample

__all__ = ["Design", "Grid", "Row", "Sample", "member_scenario", "sweep", "swept"]
