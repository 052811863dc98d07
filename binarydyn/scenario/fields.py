"""How one key of a scenario is declared: type, unit, default, allowed range and the reason for them, in one line."""

from __future__ import annotations

import math
import numbers
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    ValidationError,
    ValidationInfo,
    field_validator,
)
from pydantic_core import PydanticCustomError

from ..errors import InputError
from ..kinds import sure
from .keys import Key, known_keys
from .nearest import nearest
from .plain import HERE, plain
from .ranges import in_range, is_finite, range_text
from .sentences import input_error
from .wording import as_given


def _real(value: Any) -> Any:
    """Integers beyond the range of a float become infinite, and are refused like any infinity."""
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value) if abs(value) < 1e300 else (math.inf if value > 0 else -math.inf)
    return value


def _whole(value: Any) -> Any:
    """2e7 is a whole number too, as in everyday writing."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


Number = Annotated[float, Strict(), BeforeValidator(_real)]
Whole = Annotated[int, Strict(), BeforeValidator(_whole)]


def refusal(key: str | tuple[str, ...], sentence: str) -> PydanticCustomError:
    """What a validator raises: `key`, dotted or in parts, is relative to its table, and empty for the table."""
    path = key if isinstance(key, tuple) else tuple(filter(None, key.split(".")))
    return PydanticCustomError("refused", "{sentence}", {"path": path, "sentence": sentence})


def key(
    default: Any,
    unit: str,
    reason: str,
    low: float | None = None,
    high: float | None = None,
    *,
    open_low: bool = False,
    signed: bool = False,
    choices: tuple = (),
) -> Any:
    """Declare a key; `...` as default means required, `signed` that the range holds for the absolute value."""
    facts: dict[str, Any] = {"unit": unit, "reason": reason, "low": low, "high": high}
    return Field(default, json_schema_extra=facts | {"open_low": open_low, "signed": signed, "choices": choices})


if TYPE_CHECKING:  # which cannot follow type(BaseModel)
    from pydantic._internal._model_construction import ModelMetaclass
else:
    ModelMetaclass = type(BaseModel)


_HIDDEN = {name for name in dir(BaseModel) if not name.startswith("__")}
"""What tab completion leaves out: how a table is checked is nothing to call."""


class _Sentences(ModelMetaclass):
    """Makes tables that are written in Python, `VelocityChange(radial_mm_s=1.0)`, from copies, and refuses them in a
    sentence."""

    def __dir__(cls) -> list[str]:
        return sorted({*super().__dir__(), *getattr(cls, "model_fields", ())} - _HIDDEN)

    def __call__(cls, /, *given: Any, **values: Any) -> Any:
        if given:
            raise InputError(cls.__name__, "values are given without their keys, allowed is key=value; name each")
        return cls.of(values)  # type: ignore[attr-defined]


class Table(BaseModel, metaclass=_Sentences):
    """A table of the scenario: unchangeable, no unknown keys, every number in its declared range."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    def __dir__(self) -> list[str]:
        return sorted(set(super().__dir__()) - _HIDDEN)

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """From values by key, checked as if they stood in a file.  Raises InputError."""
        return cls._checked(values, cls.__name__, HERE)

    @classmethod
    def _checked(cls, values: Mapping[str, Any], place: str, folder: Path) -> Self:
        """What the schema makes of a copy of values; `place` names them in errors."""
        try:
            return super().model_validate(plain(values, folder), context={"folder": folder})
        except ValidationError as error:
            raise input_error(error, place, cls.known_keys()) from None
        except RecursionError:
            raise InputError(place, "it is nested too deep to read, allowed are three levels; flatten it") from None

    @classmethod
    def model_validate(cls, values: Any, **_: Any) -> Self:  # type: ignore[override]
        """As `of`."""
        return cls.of(values)

    @classmethod
    def known_keys(cls) -> dict[str, Key]:
        """Every key that the table may have, by its dotted name."""
        return known_keys(cls)

    def to_dict(self, folder: Path = HERE) -> dict[str, Any]:
        """What is given in it, as TOML reads it: a copy, without what is left to its default."""
        given = self.model_fields_set
        return plain({name: getattr(self, name) for name in type(self).model_fields if name in given}, folder)

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """The same with other values, checked as if they stood in a file; None takes one away."""
        return self.of(self.to_dict() | dict(update or {}))

    def copy(self, *, update: Mapping[str, Any] | None = None, **_: Any) -> Self:
        """As model_copy."""
        return self.model_copy(update=update)

    def __setattr__(self, name: str, value: Any) -> None:
        if not name.startswith("_"):
            place = f"{type(self).__name__}.{name}"
            raise InputError(place, "a scenario is frozen; scenario.replace({key: value}) gives another one")
        super().__setattr__(name, value)

    @classmethod
    def model_construct(cls, *given: Any, **values: Any) -> Self:
        """Refused: nothing unchecked is to be had."""
        raise InputError(cls.__name__, f"model_construct checks nothing, allowed is {cls.__name__}(..); use that")

    @field_validator("*")
    @classmethod
    def _as_declared(cls, value: Any, info: ValidationInfo) -> Any:
        facts: Any = cls.model_fields[sure(info.field_name)].json_schema_extra
        if not facts:
            return value
        if facts["choices"]:
            _check_choice(value, facts)
        else:
            for item in value if isinstance(value, tuple) else (value,):
                _check_number(item, facts)
        return value


def _check_choice(value: Any, facts: dict[str, Any]) -> None:
    if value not in facts["choices"]:
        close = nearest(str(value), [str(choice) for choice in facts["choices"]])
        hint = f"did you mean {close}?" if close else "choose one of them"
        raise refusal("", f"{as_given(value)} is given, allowed is {range_text(facts)}; {hint}")


def _check_number(value: Any, facts: dict[str, Any]) -> None:
    if not isinstance(value, numbers.Real) or in_range(value, facts):  # type: ignore[arg-type]
        return
    if not is_finite(value):  # type: ignore[arg-type]
        allowed = f", {range_text(facts)}" if range_text(facts) else ""
        raise refusal("", f"{as_given(value)} is given, allowed is a finite number{allowed}; write one")
    raise refusal("", f"{as_given(value)} is given, allowed is {range_text(facts)} ({facts['reason']}); change it")
