"""What is kept: results as HDF5 files that say where they come from."""

from .members import Members
from .opened import stored_members
from .predictions import check_target, write_prediction
from .result import RecordedRun, Result, open_result, word_of
from .sweeping import sweep
from .sweeps import SweepStore
from .units import long_name_of, unit_of

__all__ = [
    "Members",
    "RecordedRun",
    "Result",
    "SweepStore",
    "check_target",
    "long_name_of",
    "stored_members",
    "open_result",
    "sweep",
    "unit_of",
    "word_of",
    "write_prediction",
]
