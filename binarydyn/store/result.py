"""A stored result as a notebook wants it: what was asked, the numbers, rows of a sweep, runs of a prediction."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import cached_property, partial
from pathlib import Path
from typing import Any

import numpy as np

from ..dynamics import State, System, Trajectory
from ..errors import InputError
from ..files.seal import check_seal
from ..files.whole import check_place, target_of
from ..kinds import PATH, takes
from ..sampling import Grid, Sample
from ..sampling.listed import Listed, design_of
from ..scenario import Scenario
from ..scenario.reading import place_of
from ..scenario.wording import as_given, one_line
from . import layout
from .groups import FLAG, UNKNOWN, kind_of, read_group
from .provenance import ATTRIBUTES, COUNTS, FORMAT
from .tables.columns import Columns
from .tables.stored_rows import StoredRows, read_rows
from .tables.table import coded


class Held(dict):
    """What was found in a file by name; InputError, naming the file, for what is not there."""

    def __init__(self, place: str, found: dict[str, Any]):
        super().__init__(found)
        self._place = place

    def __missing__(self, name: str) -> Any:
        raise InputError(self._place, f"this is no whole result file (it has no {name}); make it anew")


@dataclass(frozen=True)
class RecordedBody:
    """What a file keeps of a body: enough for everything that is seen of a run, not for going on with it."""

    mass_kg: float
    density_kg_m3: float
    inertia_kg_m2: np.ndarray
    bounding_radius_m: float
    enclosing_axes_m: np.ndarray
    is_even: bool


@dataclass(frozen=True)
class Result:
    """A result file; kind is `prediction` or `sweep`, attributes say where it comes from.

    Content is read, and checked against its hash, when it is first asked for.  Raises InputError for content that is
    damaged or that this kind does not have.
    """

    path: Path
    kind: str
    attributes: dict[str, Any]

    @cached_property
    def scenario(self) -> Scenario:
        """What was asked; meshes are looked for where they were."""
        a = self.attributes
        return Scenario.from_text(a["scenario"], a["scenario_place"], a["scenario_folder"])

    @cached_property
    def numbers(self) -> dict[str, float | str | bool | None]:
        """The flat table of a prediction, as `Prediction.numbers` gave it."""
        return self._table("numbers")

    @cached_property
    def period_changes_s(self) -> dict[str, float | None]:
        """Of a prediction: its period change by every estimator, and by closed forms (`closed_form_..`)."""
        return {name.removesuffix("_s"): value for name, value in self._table("changes").items()}

    @cached_property
    def calibration(self) -> dict[str, Any]:
        """Of a prediction: what relaxation and calibration found."""
        return self._table("start")

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Of a prediction, a timetable or a reconstruction: where it is outside its validity."""
        kind = self.kind if self.kind in ("events", "reconstruction") else "prediction"
        return tuple(self._group("warnings", kind)["warning"].values.tolist())

    @cached_property
    def before(self) -> Trajectory:
        """The run before the impact."""
        return self._run("before", -1)

    @cached_property
    def after(self) -> Trajectory:
        """The run after the impact."""
        return self._run("after", 0)

    @cached_property
    def rows(self) -> StoredRows:
        """Of a sweep: its table as it is stored."""
        self._check_kind(self._kind_with_rows)
        rows, count = StoredRows(self.path), len(self.sample or self.design)
        if len(rows.members) and rows.members[-1] >= count:
            raise InputError(rows.place, f"it has member {rows.members[-1]} of a design of {count}; make it anew")
        return rows

    @property
    def _kind_with_rows(self) -> str:
        return "prediction" if self.kind == "prediction" and self.sample else "sweep"

    @cached_property
    def columns(self) -> Columns:
        """Of a sweep: rows as arrays (n,) by name: `member`, the varied keys, `status`, `reason`, every number.

        Of a prediction: those of the members that were drawn beside it, if any were.  A column is read when it is asked
        for.  An unknown number is nan; flags are 1, 0, or -1 where unknown.
        """
        return Columns(self.rows.names, self.rows.column)

    @cached_property
    def events(self) -> dict[str, np.ndarray]:
        """Of a timetable: its events as arrays (n,) by name; an unknown number is nan, an unknown text is empty."""
        return {name: column.values for name, column in self._group("events", "events").items()}

    @cached_property
    def summary(self) -> dict[str, float | str | None]:
        """Of a timetable: what holds for all of its events."""
        return self._table("summary", "events")

    def draws(self, group: str) -> dict[str, np.ndarray]:
        """Of a reconstruction: its `draws`, or its `times`, as arrays (n,) by name."""
        found = self._group(group, "reconstruction")
        return {name: column.values for name, column in found.items() if name != "number"}

    def plain(self, group: str, kind: str) -> dict[str, Any]:
        """Single values of a group by name."""
        return self._table(group, kind)

    @cached_property
    def sample(self) -> Sample | None:
        """Of a sweep over drawn members, or beside a prediction: how they were drawn; None for a grid or for none."""
        if not self.attributes.get("design", "").startswith('{"sample"'):
            return None
        return self._design(Sample.from_json)

    @property
    def design(self) -> Grid | Sample | Listed:
        """Of a sweep: which members there are; the file may have fewer of them."""
        self._check_kind("sweep")
        design = self.sample or self._design(design_of)
        if len(design) != self.attributes["members"]:
            raise InputError(self._place, "its design has another number of members than it says; make it anew")
        return design

    def _design(self, read_rows: Callable[[str], Any]) -> Any:
        text = self.attributes["design"]
        try:
            return read_rows(text)
        except (ValueError, TypeError, AttributeError, LookupError, ArithmeticError, RecursionError, InputError):
            raise InputError(self._place, "this is no whole result file (its design is none); make it anew") from None

    def statuses(self) -> dict[str, int]:
        """Of a sweep: how many members ended how, the most frequent first."""
        status = coded(self.rows.column("status"))
        counts = np.bincount(status.codes, minlength=len(status.words)).tolist()
        return dict(Counter(dict(zip(status.words, counts, strict=True))).most_common())

    def _table(self, group: str, kind: str = "prediction") -> dict[str, Any]:
        self._check_kind(kind)
        plain = read_rows(self.path, lambda file: {name: x.plain for name, x in read_group(file, group).items()})
        return Held(
            self._place, {name: _flag(value) if kind_of(name) == FLAG else value for name, value in plain.items()}
        )

    def _run(self, group: str, impact: int) -> Trajectory:
        columns = self._group(group, "prediction")
        c = Held(self._place, {name: column.values for name, column in columns.items()})
        y = np.concatenate([c[name].reshape(len(c["time_s"]), -1) for name in STATE], axis=1)
        return Trajectory(
            system=self._system(State.from_vector(y[impact]), group),
            time_s=c["time_s"],
            y=y,
            **{name: columns[name].plain for name in ENDS},
        )

    def _system(self, state: State, group: str) -> System:
        """The pair of a run; after an impact that changed a shape, with that."""
        bodies: list[Any] = []  # which have no surface
        for name in ("primary", "secondary"):
            changed = f"{name}_{group}"
            there = read_rows(self.path, partial(layout.has, name=changed))
            columns = self._group(changed if there else name, "prediction")
            c = {field.name: columns[field.name] for field in fields(RecordedBody)}
            plain = {key: column.values if column.dims else column.plain for key, column in c.items()}
            bodies.append(RecordedBody(**plain | {"is_even": plain["is_even"] == 1}))
        begun: dict[str, Any] = self.calibration
        primary, secondary = bodies
        return System(primary, secondary, state, begun["degree"], begun["tolerance"])

    def _check_kind(self, kind: str) -> None:
        if self.kind != kind:
            given, wanted = word_of(self.kind), word_of(kind)
            raise InputError(self._place, f"this is a {given}, allowed is a {wanted}; open another file")

    def _group(self, name: str, kind: str) -> Held:
        self._check_kind(kind)
        return Held(self._place, read_rows(self.path, lambda file: read_group(file, name)))

    @property
    def _place(self) -> str:
        return one_line(str(self.path))


STATE = ("position_m", "velocity_m_s", "attitude1", "rate1_rad_s", "attitude2", "rate2_rad_s")
ENDS = ("status", "relative_energy_error", "relative_angular_momentum_error", "steps", "evaluations")
_KINDS = ("prediction", "sweep", "events", "reconstruction")


def word_of(kind: str) -> str:
    """What a sentence calls a kind of result."""
    return {"events": "timetable"}.get(kind, kind)


def _flag(value: int) -> bool | None:
    return None if value == UNKNOWN else bool(value)


@takes(path=PATH)
def open_result(path: str | Path) -> Result:
    """Open what `predict --out`, `sweep --out`, `merge --out`, `events --out` or `reconstruct --out` wrote.

    InputError for a file that is missing, foreign, truncated or damaged, or of a newer layout.
    """
    place, path = place_of(path), Path(path)
    try:
        missing = not path.exists()
    except (OSError, ValueError):
        missing = True
    if left_over := _unfinished(path, missing):
        raise InputError(
            place, f"this sweep is not finished ({left_over} blocks are kept); repeat its command to go on"
        )
    if missing:
        said = "there is no such file"
        typed = f"{said}; `predict`, `sweep`, `merge`, `events` and `reconstruct` write one with --out"
        raise InputError(place, f"{said}, allowed is a result file; name one", typed=typed)
    check_seal(path)
    attributes = Held(place, read_rows(path, lambda file: layout.read_attributes(file, sorted(ATTRIBUTES))))
    if attributes.get("format") != FORMAT:
        raise InputError(place, f"this is an HDF5 file but no {FORMAT}, allowed is a result file; name another one")
    if wrong := next((name for name in attributes if isinstance(attributes[name], int) != (name in COUNTS)), None):
        raise InputError(place, f"this is no whole result file ({wrong} is of another kind); make it anew")
    if attributes["kind"] not in _KINDS:
        kinds = " or ".join(_KINDS)
        raise InputError(place, f"it holds {as_given(attributes['kind'])}, allowed is {kinds}; name another file")
    return Result(path, attributes["kind"], attributes)


def refuse_other_kinds(path: str | Path, kind: str, word: str) -> None:
    """InputError where a result of a kind could not be written to a path, or would replace other work."""
    check_place(path)
    if Path(path).exists() and (held := open_result(path).kind) != kind:
        place = one_line(str(path))
        raise InputError(place, f"it holds a {word_of(held)}, allowed is {word} or a new file; name another one")


def _unfinished(path: Path, missing: bool) -> int:
    """Blocks of a sweep that was interrupted, if the path is that of its result to come or of their folder."""
    path = target_of(path)
    folder = (
        path
        if path.name.endswith(".parts")
        else path.with_name(path.name + ".parts")
        if missing and path.name
        else None
    )
    return sum(1 for _ in folder.glob("*.rows")) if folder and os.path.isdir(folder) else 0
