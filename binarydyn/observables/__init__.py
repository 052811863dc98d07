"""What is seen of a trajectory: periods with their errors, the shape of the orbit, the attitude of the bodies."""

from .estimates import METHODS, Estimate, cycle_periods, passage_times, period, periods
from .frequency import Line, lines
from .orbit import OrbitShape, inclination_change, orbit_shape
from .orientation import AttitudeHistory, attitude

__all__ = [
    "METHODS",
    "AttitudeHistory",
    "Estimate",
    "Line",
    "OrbitShape",
    "attitude",
    "cycle_periods",
    "inclination_change",
    "lines",
    "orbit_shape",
    "passage_times",
    "period",
    "periods",
]
