"""A prediction as a file: the numbers, both runs, the periods of single cycles, the start and the warnings."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from ..dynamics import Trajectory
from ..files.whole import image, put
from ..kinds import sure
from ..motion.state import Body
from ..prediction import Prediction
from ..relaxed import Start
from .groups import Column, write_group
from .members import Members
from .provenance import attributes
from .result import ENDS, STATE, refuse_other_kinds
from .tables.table import write_table

_WIDTHS = {3: "axis", 4: "component"}


def write_prediction(path: str | Path, prediction: Prediction, drawn: Members | None = None) -> None:
    """Write a prediction, in place of an older one of that name, and what is drawn beside it.

    InputError where it cannot.
    """
    check_target(path)
    changes = {f"{name}_s": value for name, value in prediction.period_changes_s().items()}
    changes |= {f"closed_form_{name}_s": value for name, value in prediction.analytic_changes_s().items()}
    system, new = prediction.start.system, prediction.impact.system

    def fill(file) -> None:
        file.attrs.update(attributes(prediction.scenario, "prediction"))
        if drawn:
            file.attrs.update({"design": sure(drawn.sample).json, "design_sha256": sure(drawn.sample).sha256})
            write_table(file, drawn.columns)
        write_group(file, "numbers", _scalars(prediction.numbers()))
        write_group(file, "changes", _scalars(changes))
        write_group(file, "start", _scalars(_calibration(prediction.start)))
        write_group(file, "primary", _body(system.primary))
        write_group(file, "secondary", _body(system.secondary))
        for name in ("primary", "secondary"):
            if getattr(new, name) is not getattr(system, name):
                write_group(file, f"{name}_after", _body(getattr(new, name)))
        write_group(file, "before", _run(prediction.before, prediction.before.single_orbit_periods_s))
        write_group(file, "after", _run(prediction.after, prediction.after.single_orbit_periods_s))
        write_group(file, "warnings", _warnings(prediction.warnings))

    put(Path(path), image(fill))


def check_target(path: str | Path) -> None:
    """InputError, before anything is computed, where a prediction could not be written, or would replace other work."""
    refuse_other_kinds(path, "prediction", "a prediction")


def _scalars(plain: Mapping[str, Any]) -> dict[str, Column]:
    return {name: Column.of(name, value) for name, value in plain.items()}


def _calibration(begun: Start) -> dict[str, Any]:
    return {
        "solved_for": begun.solved_for,
        "mass_factor": begun.mass_factor,
        "separation_m": begun.separation_m,
        "period_h": begun.period_h,
        "relative_residual": begun.residual,
        "period_residual_s": begun.period_residual_s,
        "degree": begun.system.degree,
        "tolerance": begun.system.tolerance,
    }


def _body(body: Body) -> dict[str, Column]:
    return {
        "axis": Column.of("axis", np.arange(3), "axis"),
        "mass_kg": Column.of("mass_kg", body.mass_kg),
        "density_kg_m3": Column.of("density_kg_m3", body.density_kg_m3),
        "inertia_kg_m2": Column.of("inertia_kg_m2", body.inertia_kg_m2, "axis"),
        "bounding_radius_m": Column.of("bounding_radius_m", body.bounding_radius_m),
        "enclosing_axes_m": Column.of("enclosing_axes_m", body.enclosing_axes_m, "axis"),
        "is_even": Column.of("is_even", body.is_even),
    }


def _run(run: Trajectory, single_orbit_periods_s: np.ndarray) -> dict[str, Column]:
    """One window; rates and positions by axis (x, y, z), attitudes by component (quaternion, scalar first)."""
    columns = {
        "time_s": Column.of("time_s", run.time_s, "time_s"),
        "axis": Column.of("axis", np.arange(3), "axis"),
        "component": Column.of("component", np.arange(4), "component"),
    }
    for name in STATE:
        values = getattr(run, name)
        columns[name] = Column.of(name, values, "time_s", _WIDTHS[values.shape[1]])
    columns["cycle"] = Column.of("cycle", np.arange(len(single_orbit_periods_s)), "cycle")
    columns["single_orbit_periods_s"] = Column.of("single_orbit_periods_s", single_orbit_periods_s, "cycle")
    return columns | _scalars({name: getattr(run, name) for name in ENDS})


def _warnings(sentences: tuple[str, ...]) -> dict[str, Column]:
    """One for each; a warning has no other coordinate than its number."""
    number = Column.of("number", np.arange(len(sentences)), "number")
    return {"number": number, "warning": Column.of("warning", list(sentences), "number")}
