"""What the system is in each draw of the inputs: masses, separation, period, volume of the secondary.

By the stated masses and Kepler's third law, times a correction (the extended bodies') that is fitted to relaxed starts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..constants import HOUR_S, G
from ..relaxed.asked import wanted_of
from ..relaxed.bodies import bodies
from ..relaxed.circular import third_law
from ..relaxed.start import Start
from ..scenario import Scenario
from .quadratic import Quadratic


@dataclass(frozen=True)
class Pairs:
    """Arrays (n,); separation is the time-mean distance, volume the secondary's."""

    secondary_kg: np.ndarray
    separation_m: np.ndarray
    period_s: np.ndarray
    volume_m3: np.ndarray

    def against(self, begun: Sequence[Start]) -> dict[str, np.ndarray]:
        """Ratios (n,) of what relaxed starts have to what is here."""
        found = self.as_found(begun)
        return {name: getattr(found, name) / getattr(self, name) for name in _CORRECTED}

    def as_found(self, begun: Sequence[Start]) -> Pairs:
        """With the masses, separations and periods of relaxed starts."""
        return replace(
            self,
            secondary_kg=np.array([one.system.secondary.mass_kg for one in begun]),
            separation_m=np.array([one.separation_m for one in begun]),
            period_s=np.array([one.period_h * HOUR_S for one in begun]),
        )

    def corrected(self, corrections: Mapping[str, Quadratic], inputs: Mapping[str, np.ndarray]) -> Pairs:
        """Times the fitted ratios at inputs (n,)."""
        count = len(self.separation_m)
        x = np.column_stack(list(inputs.values())) if inputs else np.empty((count, 0))
        return replace(self, **{name: getattr(self, name) * np.exp(fit(x)) for name, fit in corrections.items()})


_CORRECTED = ("secondary_kg", "separation_m", "period_s")


def pairs(scenario: Scenario, inputs: Mapping[str, np.ndarray], count: int) -> Pairs:
    """From stated values with drawn inputs (count,) in their place."""
    built = bodies(scenario)
    (one, _), (two, volume) = (
        _mass_volume(scenario, name, body, inputs) for name, body in zip(("primary", "secondary"), built, strict=True)
    )
    wanted = wanted_of(scenario, lambda key: inputs.get(key, scenario[key]))
    factor, separation, rate = third_law(G * (one + two), 0.0, wanted)
    columns = (two * factor, separation, 2.0 * np.pi / rate, volume)
    return Pairs(*(np.broadcast_to(np.asarray(column, dtype=float), (count,)).copy() for column in columns))


def _mass_volume(scenario: Scenario, name: str, body, inputs: Mapping[str, np.ndarray]):
    """Stated mass and volume of a body; a drawn size scales an ellipsoid, a drawn density what is homogeneous."""
    table, volume = getattr(scenario, name), body.volume_m3
    if table.axis_ratio_ab is not None:
        diameter = f"{name}.volume_equivalent_diameter_m"
        volume = (
            volume
            * (inputs.get(diameter, table.volume_equivalent_diameter_m) / table.volume_equivalent_diameter_m) ** 3
        )
    elif table.semi_axes_m:
        for i, axis in enumerate(table.semi_axes_m):
            volume = volume * inputs.get(f"{name}.semi_axes_m.{i}", axis) / axis
    if table.mass_kg is not None:
        return inputs.get(f"{name}.mass_kg", table.mass_kg), volume
    density = inputs.get(f"{name}.density_kg_m3", table.density_kg_m3) / table.density_kg_m3
    return body.mass_kg * density * volume / body.volume_m3, volume
