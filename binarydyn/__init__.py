"""binarydyn: what a kinetic impact does to the moonlet of a binary asteroid.

Results are research estimates and no hazard decision; those belong to the responsible authorities and licensed
practice. The names below are imported when they are first used, so that a command pays only for what it needs.
"""

from importlib import import_module
from typing import TYPE_CHECKING

_FRONT_DOOR = {
    "load": "scenario",
    "Scenario": "scenario",
    "build": "relaxed",
    "System": "dynamics",
    "State": "dynamics",
    "simulate": "dynamics",
    "Trajectory": "dynamics",
    "apply_impact": "impact",
    "periods": "observables",
    "predict": "prediction",
    "Prediction": "prediction",
    "sweep": "ensembles",
    "open_result": "store",
}
__all__ = [
    "Prediction",
    "Scenario",
    "State",
    "System",
    "Trajectory",
    "apply_impact",
    "build",
    "load",
    "open_result",
    "periods",
    "predict",
    "simulate",
    "sweep",
]

if TYPE_CHECKING:
    from .dynamics import State, System, Trajectory, simulate
    from .ensembles import sweep
    from .impact import apply_impact
    from .observables import periods
    from .prediction import Prediction, predict
    from .relaxed import build
    from .scenario import Scenario, load
    from .store import open_result


def __getattr__(name: str):
    if name in _FRONT_DOOR:
        return getattr(import_module(f"{__name__}.{_FRONT_DOOR[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
