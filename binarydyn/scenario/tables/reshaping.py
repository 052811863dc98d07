"""What a scenario says about the bodies' shapes after the impact: the table [reshaping]."""

from __future__ import annotations

import math

from pydantic import model_validator

from ...kinds import sure
from ..fields import Number, Table, key, refusal
from .bodies import DENSITY_KG_M3, Primary, Secondary

_AXES = "along the body's own x, y, z, which stay; half the extents, longest first; none keeps the shape"
BODIES = ("primary", "secondary")


class Reshaping(Table):
    """New shapes that the bodies have from t0 on: homogeneous ellipsoids of the masses of before."""

    primary_semi_axes_m: tuple[Number, Number, Number] | None = key(None, "m", f"[a, b, c] {_AXES}", 0.1, 1e6)
    secondary_semi_axes_m: tuple[Number, Number, Number] | None = key(None, "m", f"[a, b, c] {_AXES}", 0.1, 1e6)
    volume: str = key(
        "kept",
        "",
        "scaled to the volume of before, since rubble that moves packs much as it did; as_given takes the axes as they "
        "are, and the density changes",
        choices=("kept", "as_given"),
    )

    @model_validator(mode="after")
    def _shapes(self) -> Reshaping:
        if not any(self.axes_m(body) for body in BODIES):
            raise refusal(
                "secondary_semi_axes_m",
                "neither primary_semi_axes_m nor secondary_semi_axes_m is given, at least one is needed; add one of "
                "them, or remove the table",
            )
        for body in BODIES:
            a, b, c = self.axes_m(body) or (1.0, 1.0, 1.0)
            if not a >= b >= c:
                raise refusal(
                    f"{body}_semi_axes_m",
                    f"[{a:g}, {b:g}, {c:g}] is given, allowed is a >= b >= c; list the longest first",
                )
        return self

    def axes_m(self, body: str) -> tuple[float, float, float] | None:
        """As given for `primary` or `secondary`."""
        return getattr(self, f"{body}_semi_axes_m")


def check_reshaping(
    reshaping: Reshaping | None, primary: Primary, secondary: Secondary, separation_m: float | None
) -> None:
    """Refuse new shapes that the bodies cannot take."""
    if not reshaping:
        return
    longest = 0.0
    for body, table in zip(BODIES, (primary, secondary), strict=True):
        axes = reshaping.axes_m(body)
        place = f"reshaping.{body}_semi_axes_m"
        if axes and table.inclusions:
            raise refusal(
                place, f"the {body} has inclusions, allowed is a body that is the same throughout; remove one of both"
            )
        if axes and table.semi_axes_m:
            grows = math.prod(axes) / math.prod(table.semi_axes_m)
            if reshaping.volume == "as_given":
                _check_density(place, sure(table.ellipsoid_mass_kg) / sure(table.ellipsoid_volume_m3) / grows)
            else:
                axes = tuple(axis / grows ** (1.0 / 3.0) for axis in axes)
        longest += (axes or table.semi_axes_m or (0.0,))[0]
    if separation_m and longest >= separation_m:
        raise refusal(
            "reshaping",
            f"the new shapes overlap at {separation_m:g} m, allowed is more than the two longest semi-axes, "
            f"{longest:g} m; check the semi-axes (half the extents)",
        )


def _check_density(place: str, density_kg_m3: float) -> None:
    low, high = DENSITY_KG_M3
    if not low <= density_kg_m3 <= high:
        raise refusal(
            place,
            f"these axes make a density of {density_kg_m3:.3g} kg/m3, allowed is {low:g} .. {high:g}; check them",
        )
