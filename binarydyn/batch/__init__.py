"""Many members at once, of which only the outcomes count."""

from .summary import brief_members

__all__ = ["brief_members"]
