"""Options that several commands have, each declared once; options that go together, as one argument of a command; and
the scenario that the first of them names."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import wraps
from inspect import Parameter, Signature, signature
from typing import Annotated, Any, get_type_hints

import typer

from ..scenario import Scenario, example, load

File = Annotated[str, typer.Argument(help="Scenario file (TOML). [default: built-in example]", show_default=False)]
Sampled = Annotated[str, typer.Argument(help="Scenario file (TOML) with [sampling].")]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Plot = Annotated[str, typer.Option("--plot", help="Write a figure (.png, .pdf or .svg).")]
Out = Annotated[str, typer.Option("--out", help="Write the result to this HDF5 file.")]
Csv = Annotated[str, typer.Option("--csv", help="Write the table to this CSV file.")]
Nominal = Annotated[bool, typer.Option("--nominal", help="Use nominal values only; ignore [sampling].")]
Count = Annotated[int | None, typer.Option("--count", help="Number of members. [default: sampling.count]")]
Seed = Annotated[int | None, typer.Option("--seed", help="Random seed. [default: sampling.seed]")]
Table = Annotated[str, typer.Option("--table", help="Outcomes per member: full, or summary (about 100 times faster).")]
PeriodChange = Annotated[
    float | None,
    typer.Option(
        "--period-change-s", help="Measured period change, after minus before. [default: observed.period_change_s]"
    ),
]
Sigma = Annotated[float | None, typer.Option("--sigma-s", help="1-sigma uncertainty of --period-change-s.")]
Events = Annotated[
    list[str] | None,
    typer.Option("--events", help="CSV file of measured mid-times (format: `binarydyn timing --help`)."),
]
NoiseS = Annotated[
    float | None,
    typer.Option(
        "--noise-s", help="1-sigma noise of each synthetic mid-time. [default: 30, or campaign.mid_time_sigma_s]"
    ),
]
Share = Annotated[
    float | None, typer.Option("--share", help="Fraction of events to time synthetically, at random. [default: 1]")
]
Observers = Annotated[
    int | None, typer.Option("--observers", help="Number of observers who share the synthetic events. [default: 1]")
]
NightNoise = Annotated[
    float | None,
    typer.Option(
        "--night-noise-s",
        help="1-sigma noise common to an observer's night, of synthetic mid-times. [default: 0, or "
        "campaign.night_sigma_s]",
    ),
]
Law = Annotated[
    str,
    typer.Option("--law", help="Scattering law: lambert, lommel_seeliger or lommel_seeliger_lambert."),
]
Timed = Annotated[
    str | None,
    typer.Option(
        "--timed",
        help="Definition of synthetic mid-times: dip_centroid, half_depth, minimum, folded or contacts. [default: "
        "dip_centroid]",
    ),
]
Runs = Annotated[
    int | None,
    typer.Option(
        "--runs", help="Simulations used to train the emulator, a power of 2. [default: from the number of inputs]"
    ),
]


def scenario_of(file: str) -> Scenario:
    """The scenario of a file, the built-in one where none is named.  InputError for one that cannot be read."""
    return load(file) if file else example()


def gathered(command: Callable[..., int | None]) -> Callable[..., int | None]:
    """The command as typer reads it: an argument that is a dataclass of options stands as these, in its place."""
    hints = get_type_hints(command, include_extras=True)
    groups: dict[str, Any] = {name: kind for name, kind in hints.items() if is_dataclass(kind)}
    asked = [each for name, one in signature(command).parameters.items() for each in _options(one, hints[name])]

    @wraps(command)
    def called(**given: Any) -> int | None:
        parts = {name: kind(**{f.name: given.pop(f.name) for f in fields(kind)}) for name, kind in groups.items()}
        return command(**given, **parts)

    called.__signature__ = Signature(asked)  # type: ignore[attr-defined]
    return called


def typed(options: Any, *beside: str) -> list[str]:
    """The options of a group that were given, as they are typed, but for those of some names."""
    hints = get_type_hints(type(options), include_extras=True)
    given = (f.name for f in fields(options) if f.name not in beside and getattr(options, f.name) != f.default)
    return [hints[name].__metadata__[0].default for name in given]  # typer's first word, with a hint beside it


def _options(one: Parameter, kind: Any) -> list[Parameter]:
    """What the argument asks a user for."""
    if not is_dataclass(kind):
        return [one.replace(annotation=kind, kind=Parameter.KEYWORD_ONLY)]
    hints = get_type_hints(kind, include_extras=True)
    return [
        Parameter(f.name, Parameter.KEYWORD_ONLY, default=f.default, annotation=hints[f.name]) for f in fields(kind)
    ]
