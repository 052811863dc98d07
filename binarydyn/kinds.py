"""What kinds of things a function takes: another kind is refused in one sentence that says how to get the right one."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, wraps
from numbers import Integral, Real
from os import PathLike
from typing import Any, TypeVar

from .errors import InputError, KindError

NUMBER, WHOLE, PATH = Real, Integral, (str, PathLike)

_HOW_TO_GET = {
    ("Scenario", "str"): "load(path) reads one",
    ("Scenario", "PosixPath"): "load(path) reads one",
    ("Scenario", "dict"): "Scenario.from_dict(data) makes one",
    ("Scenario", "Result"): "take its .scenario",
    ("Scenario", "Prediction"): "take its .scenario",
    ("System", "Scenario"): "build(scenario) makes one",
    ("System", "Start"): "take its .system",
    ("System", "Prediction"): "take its .start.system",
    ("System", "Impact"): "take its .system",
    ("State", "System"): "take its .state",
    ("State", "ndarray"): "State.from_vector(values) makes one of 20 numbers",
    ("Trajectory", "System"): "simulate(system, days) makes one",
    ("Trajectory", "Prediction"): "take its .before or .after",
    ("Trajectory", "Result"): "take its .before or .after",
    ("Impact", "Prediction"): "take its .impact",
    ("Impact", "Scenario"): "impact_on(build(scenario), scenario) makes one",
    ("Impact", "System"): "impact_on(system, scenario) makes one",
    ("AttitudeHistory", "Trajectory"): "attitude(trajectory) makes one",
    ("Backend", "str"): "Backend(name) makes one",
}
"""By what is wanted and what is given: how to get the one from the other."""
_WORDS = {
    "str": "a text",
    "int": "a whole number",
    "Integral": "a whole number",
    "float": "a number",
    "Real": "a number",
    "bool": "true or false",
    "dict": "a dictionary",
    "Mapping": "a dictionary",
    "ndarray": "an array",
    "PosixPath": "a path",
    "PathLike": "a path",
    "function": "a function",
    "NoneType": "None",
}

Function = TypeVar("Function", bound=Callable)
Given = TypeVar("Given")


@dataclass(frozen=True)
class ArrayShape:
    """An array of finite numbers with these lengths; None stands for any, `...` at first for any number of lengths."""

    lengths: tuple[Any, ...]

    def fits(self, given: Any) -> bool:
        """Whether it is such an array."""
        import numpy as np

        try:
            values = np.asarray(given, dtype=float)
        except (TypeError, ValueError):
            return False
        wanted, given = self.lengths, values.shape
        if wanted[:1] == (...,):
            wanted, given = wanted[1:], given[-len(wanted) + 1 :]
        is_so = len(given) == len(wanted) and all(n in (m, None) for n, m in zip(wanted, given, strict=True))
        return is_so and bool(np.all(np.isfinite(values)))


@dataclass(frozen=True)
class Like:
    """Anything that has some attributes; `word` is what a sentence calls it."""

    word: str
    attributes: tuple[str, ...]

    def fits(self, given: object) -> bool:
        """Whether it has them."""
        return all(hasattr(given, name) for name in self.attributes)


BODY = Like("a body such as bodies.Ellipsoid", ("mass_kg", "inertia_kg_m2", "is_even"))


def shape(*lengths: Any) -> ArrayShape:
    """See Shape."""
    return ArrayShape(lengths)


def check_kind(place: str, given: object, *kinds: Any) -> None:
    """KindError where what is given to `place` is of none of the kinds.

    A kind is a class, the name of one (which need not be imported for that), None, a Shape or a Like.
    """
    if _fits(type(given), kinds):  # type: ignore[arg-type]
        return
    if any(isinstance(kind, ArrayShape | Like) and kind.fits(given) for kind in kinds):
        return
    names = [kind if isinstance(kind, str) else getattr(kind, "__name__", "") for kind in kinds]
    how = next(
        (_HOW_TO_GET[name, type(given).__name__] for name in names if (name, type(given).__name__) in _HOW_TO_GET), ""
    )
    allowed = " or ".join(dict.fromkeys(_called(kind) for kind in kinds))
    raise KindError(place, f"{_as_given(given)} is given, allowed is {allowed}; {how or 'give one'}")


@lru_cache(maxsize=4096)
def _fits(given: type, kinds: tuple) -> bool:
    names = {each.__name__ for each in given.__mro__}
    for kind in kinds:
        if kind is None:
            if given is type(None):
                return True
        elif isinstance(kind, str):
            if kind in names:
                return True
        elif isinstance(kind, type) and issubclass(given, kind):
            return True
    return False


def _called(kind: Any) -> str:
    """What a sentence calls a kind."""
    if isinstance(kind, Like):
        return kind.word
    if isinstance(kind, ArrayShape):
        lengths = ", ".join({None: "n", ...: "..."}.get(n, str(n)) for n in kind.lengths)
        return f"an array ({lengths}{',' if len(kind.lengths) == 1 else ''}) of finite numbers"
    name = "NoneType" if kind is None else kind if isinstance(kind, str) else kind.__name__
    return _WORDS.get(name, f"{'an' if name[0] in 'AEIOUaeiou' else 'a'} {name}")


def _as_given(given: object) -> str:
    shape = getattr(given, "shape", None)
    if type(given).__name__ == "ndarray" and isinstance(shape, tuple):
        return f"an array {shape}"
    return _called(type(given))


def as_shown(given: object) -> str:
    """What is given as a sentence shows it: a number or a short text itself, of anything else its kind."""
    plain = repr(given) if given is None or isinstance(given, bool | Real | str) else ""
    return plain if 0 < len(plain) <= 60 and plain.isprintable() else _as_given(given)


def check_choice(place: str, given: object, *choices: str) -> None:
    """InputError where a word is none of the choices."""
    check_kind(place, given, str)
    if given not in choices:
        raise InputError(place, f"{as_shown(given)} is given, allowed is {' or '.join(choices)}; choose one")


def sure(value: Given | None) -> Given:
    """What is there by what was checked before: said once for a reader and a type checker."""
    assert value is not None, "checked before"
    return value


def takes(**kinds: Any) -> Callable[[Function], Function]:
    """Let a function refuse arguments of other kinds; several kinds of one argument stand in a tuple."""

    def decorated(function: Function) -> Function:
        order = list(inspect.signature(function).parameters)
        name = function.__qualname__
        asked = [
            (key, order.index(key), f"{name}({key})", each if isinstance(each, tuple) else (each,))
            for key, each in kinds.items()
        ]

        @wraps(function)
        def checked(*given: Any, **named: Any) -> Any:
            for key, index, place, allowed in asked:
                if index < len(given):
                    check_kind(place, given[index], *allowed)
                elif key in named:
                    check_kind(place, named[key], *allowed)
            return function(*given, **named)

        return checked  # type: ignore[return-value]

    return decorated
