"""What is kept: results as HDF5 files that say where they come from."""

from ..prediction.outcomes import long_name_of
from ..units import unit_of
from .event_table import Events, events
from .members import Members
from .opened import open, save, stored_members, stored_prediction
from .predictions import check_target, write_prediction
from .reconstructed import Reconstructed, reconstruct
from .result import Result, open_result, word_of
from .tables.sweeping import sweep
from .tables.sweeps import SweepStore

__all__ = [
    "Events",
    "Members",
    "Reconstructed",
    "Result",
    "SweepStore",
    "check_target",
    "events",
    "long_name_of",
    "open",
    "save",
    "stored_members",
    "stored_prediction",
    "open_result",
    "reconstruct",
    "sweep",
    "unit_of",
    "word_of",
    "write_prediction",
]
