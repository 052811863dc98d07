"""The gravity models by number: degree, or degree + 100 for a pair of bodies that are even in their principal axes.

A model's kernels are written by generator.py into the cache folder, as an ordinary module, the first time that they
are asked for. Inside compiled code `field(model, ...)` with a literal model is a direct call of that model's kernel.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import ModuleType

from .._jit import by_model, written_module
from ..errors import InputError
from .generator import source

DEGREES = (2, 4, 6, 8)
EVEN = 100


@dataclass(frozen=True)
class Model:
    """One row of the table of models: relative errors of the potential and force for separations r > R1 + R2."""

    number: int
    degree: int
    even: bool
    error: str


MODELS = {
    m.number: m
    for m in [Model(d + EVEN, d, True, f"(R/r)^{d + 2}") for d in DEGREES]
    + [Model(d, d, False, f"(R/r)^{d + 1}") for d in DEGREES]
}


def model_number(degree: int, even: bool) -> int:
    """The model for a total degree, by symmetry of the pair; ValueError names the degrees there are."""
    if degree not in DEGREES:
        raise InputError("degree", f"{degree} is given, allowed is one of {', '.join(map(str, DEGREES))}; choose one")
    return degree + EVEN * even


@cache
def module(number: int) -> ModuleType:
    """The module with the kernels `field` and `potential` of a model."""
    model = MODELS[number]
    name = f"gravity_degree_{model.degree}_{'even' if model.even else 'any'}"
    return written_module(name, lambda: source(model.degree, model.even))


potential = by_model(module, "potential")
"""potential(model, ...): Phi = -U / (G M1 M2) - 1/r, in 1/m; see generator.py for the arguments."""
