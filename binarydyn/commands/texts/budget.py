"""How the books of an impact are printed: energy and angular momentum, part by part, before and after."""

from __future__ import annotations

import numpy as np

from ...impact import Budget
from ...impact.books.budget import PARTS
from ...terminal.tables import print_table


def print_budget(budget: Budget) -> None:
    """Two tables, and how well each closes."""
    print()
    rows = [
        (stage, *(f"{value:+.6e}" for value in row), f"{row.sum():+.9e}")
        for stage, row in zip(budget.stages, budget.energy_J, strict=True)
    ]
    print_table(("energy, J", *PARTS, "sum"), rows)
    exchanged = f"exchanged mass has {budget.exchanged_J:+.6e} J; " if budget.exchanged_J else ""
    print(
        f"the impulse does {budget.brought_J:+.6e} J of work; reshaping adds {budget.shapes_J:+.6e} J; "
        f"{exchanged}"
        f"relative residual {budget.energy_residual:.1e}\n"
    )
    rows = [
        (stage, *(f"{np.linalg.norm(part):.6e}" for part in parts), f"{np.linalg.norm(parts.sum(axis=0)):.9e}")
        for stage, parts in zip(budget.stages, budget.angular_momentum_kg_m2_s, strict=True)
    ]
    print_table(("angular momentum, kg m2/s", *PARTS[:3], "magnitude of the sum"), rows)
    print(
        f"the impulse brings {np.linalg.norm(budget.brought_kg_m2_s):.6e} kg m2/s; "
        f"relative residual {budget.angular_residual:.1e}\n"
    )


def plain_budget(budget: Budget) -> dict:
    """The same for JSON; angular momenta as vectors in inertial axes."""
    return {
        "parts": list(PARTS),
        "stages": list(budget.stages),
        "energy_J": budget.energy_J.tolist(),
        "angular_momentum_kg_m2_s": budget.angular_momentum_kg_m2_s.tolist(),
        "brought_J": budget.brought_J,
        "brought_kg_m2_s": budget.brought_kg_m2_s.tolist(),
        "new_shapes_J": budget.shapes_J,
        "exchanged_J": budget.exchanged_J,
        "energy_residual": budget.energy_residual,
        "angular_residual": budget.angular_residual,
    }
