"""What it means: the start that reproduces the measurements, and the prediction."""

from .predict import Prediction, predict
from .start import Start, build, start

__all__ = ["Prediction", "Start", "build", "predict", "start"]
