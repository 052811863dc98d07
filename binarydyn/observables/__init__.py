"""What is seen of a trajectory: periods with their errors, the shape of the orbit, the attitude of the bodies."""

from .estimates import METHODS, Estimate, passage_times, period, periods, single_orbit_periods
from .frequency import Line, lines
from .fundamental import FundamentalLines, SmallMotion, fundamental_lines, small_motion
from .ground import GroundHold, ground_hold
from .orbit import OrbitShape, orbit_shape
from .orientation import AttitudeHistory, attitude

__all__ = [
    "METHODS",
    "AttitudeHistory",
    "Estimate",
    "FundamentalLines",
    "GroundHold",
    "Line",
    "OrbitShape",
    "SmallMotion",
    "attitude",
    "single_orbit_periods",
    "fundamental_lines",
    "ground_hold",
    "lines",
    "orbit_shape",
    "passage_times",
    "period",
    "periods",
    "small_motion",
]
