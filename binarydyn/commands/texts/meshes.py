"""What `check` says of bodies that are given as meshes: each is read, and refused in one line where it is no solid."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ...scenario import Scenario


def mesh_reports(scenario: Scenario) -> dict[str, dict[str, Any]]:
    """By `primary` and `secondary`, where that is a mesh; masses are those stated, before calibration."""
    names = [name for name in ("primary", "secondary") if getattr(scenario, name).polyhedron]
    if not names:
        return {}
    from ...bodies import mesh_facts
    from ...relaxed.bodies import bodies

    read = dict(zip(("primary", "secondary"), bodies(scenario), strict=True))
    return {name: {"file": getattr(scenario, name).polyhedron.file} | mesh_facts(read[name]) for name in names}


def print_meshes(reports: Mapping[str, Mapping[str, Any]]) -> None:
    """Two lines each."""
    for name, facts in reports.items():
        extents = " x ".join(f"{x:.6g}" for x in facts["extents_m"])
        centre = ", ".join(f"{x:.4g}" for x in facts["centre_of_mass_m"])
        print(
            f"\n{name} as read: {facts['facets']} facets, {facts['vertices']} vertices, {extents} m along its "
            f"principal axes, volume {facts['volume_m3']:.6g} m3 (a ball of "
            f"{facts['volume_equivalent_diameter_m']:.6g} m across), {facts['mass_kg']:.6g} kg as stated\n"
            f"  centre of mass at [{centre}] m of the file, principal axes turned by {facts['turn_deg']:.4g} deg from "
            f"its axes; mean edge {facts['mean_edge_m']:.3g} m, smallest angle of a facet "
            f"{facts['smallest_angle_deg']:.3g} deg"
        )
