"""What the impact changes, and how sure that is."""

from .predict import Prediction, predict

__all__ = ["Prediction", "predict"]
