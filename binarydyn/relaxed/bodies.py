"""The two bodies of a scenario, with the masses that it states."""

from __future__ import annotations

import math

import numpy as np

from ..bodies import Ellipsoid, Inclusion, Layered, Mesh
from ..errors import InputError
from ..integrators.rungekutta import apart
from ..kinds import sure
from ..scenario import Scenario

Body = Ellipsoid | Mesh | Layered


def bodies(scenario: Scenario) -> tuple[Body, Body]:
    """Primary and secondary with the masses that the scenario states."""
    return _body(scenario, "primary"), _body(scenario, "secondary")


def _body(scenario: Scenario, name: str) -> Body:
    table = getattr(scenario, name)
    if not table.inclusions:
        return _homogeneous(table, table.density_kg_m3, table.mass_kg)
    outer = _homogeneous(table, table.density_kg_m3 or 1.0, None)
    try:
        parts = tuple(
            Inclusion.along_axes(part.semi_axes_m, part.density_kg_m3, part.centre_m) for part in table.inclusions
        )
        return Layered(outer, parts) if table.mass_kg is None else Layered.of_mass(outer, parts, table.mass_kg)
    except InputError as error:
        raise InputError(f"{scenario.place}:{name}.{error.place}", error.sentence) from None


def _homogeneous(table, density_kg_m3: float | None, mass_kg: float | None) -> Ellipsoid | Mesh:
    if table.polyhedron is not None:
        mesh = table.polyhedron
        return Mesh.read(mesh.path, mesh.unit, density_kg_m3=density_kg_m3, mass_kg=mass_kg)
    if mass_kg is not None:
        return Ellipsoid.of_mass(table.semi_axes_m, mass_kg)
    return Ellipsoid(table.semi_axes_m, sure(density_kg_m3))


def refuse_overlap(place: str, primary, secondary, separation: float | None, phase_deg: float = 0.0) -> None:
    """Meshes may overlap although the scenario's form is right; ellipsoids were checked with it."""
    if separation is None:
        return
    state = np.zeros(20)
    half = 0.5 * math.radians(phase_deg)
    state[0], state[6], state[9], state[16] = separation, math.cos(half), math.sin(half), 1.0
    if apart(state, 0, 1, np.array([0.0, 0.0, *primary.enclosing_axes_m, *secondary.enclosing_axes_m]), 0) < 0.0:
        raise InputError(
            place,
            f"the bodies overlap at {separation:g} m, allowed is a distance at which their enclosing ellipsoids "
            "are apart; check separation_m, the sizes and the unit of the mesh",
        )
