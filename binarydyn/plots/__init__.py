"""What is shown: figures of a prediction and of a sweep; the only place that imports matplotlib."""

from . import plot
from .aim import aim_figure, save_aim
from .angles import attitude_angles
from .cycles import period_per_cycle
from .files import FORMATS, check_path
from .maps import sweep_line, sweep_map
from .mutual_orbit import orbit
from .pages.description import description_figure, save_description
from .pages.plan import plan_figure, save_plan
from .pages.prediction import prediction_figure, save_prediction
from .pages.sample import sample_figure, save_sample
from .pages.sweep import save_sweep, sweep_figure
from .pages.timetable import save_timetable, timetable_figure
from .pages.timing import save_timing, timing_figure

__all__ = [
    "FORMATS",
    "aim_figure",
    "attitude_angles",
    "check_path",
    "description_figure",
    "orbit",
    "period_per_cycle",
    "plot",
    "plan_figure",
    "prediction_figure",
    "sample_figure",
    "save_aim",
    "save_description",
    "save_plan",
    "save_prediction",
    "save_sample",
    "save_sweep",
    "save_timetable",
    "save_timing",
    "sweep_figure",
    "sweep_line",
    "sweep_map",
    "timetable_figure",
    "timing_figure",
]
