"""What is saved and opened again: a file gives back a thing of the class, and with the properties, that it had."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import cache, partial
from pathlib import Path
from typing import Any

from ..errors import KindError
from ..kinds import PATH, takes
from ..prediction import Prediction, predict
from ..prediction.windows import side_of
from ..sampling import Block
from .event_table import Events, stored_events, write_events
from .members import Members
from .predictions import write_prediction
from .reconstructed import Reconstructed, stored_reconstructed, write_reconstructed
from .result import Result, open_result
from .tables.sweeps import SweepStore

_NO_LAYOUT = {
    "Trajectory": "its to_xarray().to_netcdf(path) writes it",
    "Side": "save the Prediction that it belongs to",
    "Posterior": "its .df.to_csv(path) writes its draws",
    "Photometry": "its to_xarray().to_netcdf(path) writes it",
    "Scenario": "its to_toml(path) writes it",
}


@takes(path=PATH)
def open(path: str | Path) -> Prediction | Members | Events | Reconstructed:
    """Open a result file, written by `save` or a command: the thing that was saved, with the same numbers to the bit.

    Parameters
    ----------
    path : of a result file (HDF5).

    Returns
    -------
    Prediction, Members, Events or Reconstructed.  Content is read, and checked against its hash, when it is first asked
    for.  `start` and `impact` of a prediction are not in its file: they are made again from its scenario, where its
    meshes must be.

    Raises
    ------
    InputError for a file that is missing, foreign, truncated or damaged, or of a newer layout.

    Examples
    --------
    >>> import binarydyn as bd
    >>> prediction = bd.predict(bd.example())
    >>> bd.save("pair.h5", prediction)
    >>> bd.open("pair.h5").period_change_s == prediction.period_change_s
    True
    """
    result = open_result(path)
    openers: dict[str, Callable[[Result], Any]] = {
        "prediction": stored_prediction,
        "sweep": stored_members,
        "events": stored_events,
        "reconstruction": stored_reconstructed,
    }
    return openers[result.kind](result)


@takes(path=PATH)
def save(path: str | Path, thing: Prediction | Members | Events | Reconstructed) -> None:
    """Write a result as the file (HDF5) that the command of its kind writes; `open` gives it back.

    path : in place of an older result of the same kind, and of no other file.  Members may be added to those of the
    same sweep that the file has already.

    InputError where the file cannot be written or holds something else, KindError for what has no layout as a file.

    >>> import binarydyn as bd
    >>> bd.save("members.h5", bd.sweep(bd.example(), {"momentum_transfer.beta": [1.0, 2.2]}, workers=1))
    >>> bd.open("members.h5")
    <Members 2: 2 completed; varies 1 key; full table>
    """
    if isinstance(thing, Prediction):
        write_prediction(path, thing)
    elif isinstance(thing, Members):
        _write_members(path, thing)
    elif isinstance(thing, Events):
        write_events(path, thing)
    elif isinstance(thing, Reconstructed):
        write_reconstructed(path, thing)
    else:
        word = type(thing).__name__
        other = _NO_LAYOUT.get(word, "give one of these")
        raise KindError(
            "save", f"a {word} is given, allowed is a Prediction, Members, Events or Reconstructed; {other}"
        )


def stored_members(result: Result) -> Members:
    """The members of a stored sweep, or those that were drawn beside a stored prediction."""
    return Members.lazily(
        scenario_name=lambda: result.attributes["scenario_name"],
        scenario=lambda: result.scenario,
        design=lambda: result.sample or result.design,
        columns=lambda: result.columns,
        table=lambda: result.attributes.get("table", "full"),
        options=lambda: result.attributes.get("table_options", ""),
    )


def stored_prediction(result: Result) -> Prediction:
    """The prediction in a file; what is seen of its runs is measured again, which gives the same bits."""
    again, numbers = cache(lambda: predict(result.scenario)), result.numbers
    stored = {
        "scenario": lambda: result.scenario,
        "before": lambda: side_of(result.before, str(numbers["estimator"])),
        "after": lambda: side_of(result.after, str(numbers["estimator"])),
        "status": lambda: numbers["status"],
        "warnings": lambda: result.warnings,
        "scenario_name": lambda: result.attributes["scenario_name"],
    }
    computed = {field.name: lambda name=field.name: getattr(again(), name) for field in fields(Prediction)}
    found = Prediction.lazily(**computed | stored)
    vars(found)["numbers"] = partial(dict, numbers)  # as they are in the file, in place of the method
    return found


def _write_members(path: str | Path, members: Members) -> None:
    design, columns = members.design, members.columns
    with SweepStore(path, members.scenario, design, table=members.table, options=members.options) as store:
        new = ~store.done().mask[columns["member"]]
        names = [name for name in columns if name not in ("member", "status", "reason", *members.keys)]
        numbers = {name: columns[name][new] for name in names}
        store.keep(Block(columns["member"][new], numbers, columns["status"][new], columns["reason"][new]))
        store.finish()
