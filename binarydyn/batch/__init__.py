"""Many members at once, of which only the outcomes count."""

from .summary import summary_rows

__all__ = ["summary_rows"]
