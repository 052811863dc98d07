"""How the two bodies pull on each other."""

from .models import MODELS, Model, model_number
from .mutual import MutualGravity, mutual_gravity

__all__ = ["MODELS", "Model", "MutualGravity", "model_number", "mutual_gravity"]
