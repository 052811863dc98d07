"""How the two bodies move."""

from .propagate import semi_major_axis_m, simulate
from .state import Body, State, System
from .trajectory import Trajectory

__all__ = ["Body", "State", "System", "Trajectory", "semi_major_axis_m", "simulate"]
