"""How far the model itself may be off in the period change, beside what its inputs leave uncertain.

Two things that no distribution of an input covers: the degree at which gravity is cut off, and the ratio of the two
densities, which calibration holds at its stated value while it fits the total mass.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from ..errors import BinarydynError
from ..scenario import varied
from .predict import Prediction, next_degree_s, predict

DENSER = 1.1
"""Ratio of the secondary's to the primary's density against the stated one: a tenth, the size to be expected of bodies
of one material (the bulk densities of (65803)'s two bodies differ by more, Makadia et al. 2026, Science Advances
12(10), doi 10.1126/sciadv.aea4259).
"""
_MASSES = ("density_kg_m3", "mass_kg")


@dataclass(frozen=True)
class ModelError:
    """Changes of the period change, s: by the next degree of gravity, by a secondary DENSER against the primary.

    None where there is no next degree, no prediction, or (the second) where the ratio of the densities is drawn.
    """

    next_degree_s: float | None
    denser_moonlet_s: float | None


def model_error(result: Prediction, drawn: Collection[str] = ()) -> ModelError:
    """Two more predictions; drawn: the dotted keys that vary in a sample beside this prediction."""
    degree = next_degree_s(result) if result.model_error_s is None else result.model_error_s
    ratio_drawn = any(f"{body}.{name}" in drawn for body in ("primary", "secondary") for name in _MASSES)
    return ModelError(degree, None if ratio_drawn else _denser_moonlet_s(result))


def _denser_moonlet_s(result: Prediction) -> float | None:
    secondary = result.scenario.secondary
    name = next(name for name in _MASSES if getattr(secondary, name) is not None)
    try:
        other = predict(varied(result.scenario, {f"secondary.{name}": DENSER * getattr(secondary, name)}))
    except BinarydynError:
        return None
    if other.period_change_s is None or result.period_change_s is None:
        return None
    return other.period_change_s - result.period_change_s
