"""Which start reproduces the measurements: the bodies of a scenario, and their relaxed and calibrated state at t0."""

from .pair import pair
from .start import Start, build, start

__all__ = ["Start", "build", "pair", "start"]
