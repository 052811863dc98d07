"""What the ground at the site is made of: parameters of the point-source scaling of ejecta, by name or one by one.

Table 3 of Housen & Holsapple 2011, Icarus 211, 856 (agrees with quotations of it; sound speeds are typical handbook
values from memory, and used only to say where an impact is too slow).
"""

from __future__ import annotations

from typing import Any

from pydantic import model_validator

from ..fields import Number, Table, key, refusal

_COLUMNS = ("mu", "k", "c1", "h1", "h2", "n2", "p", "density_kg_m3", "strength_Pa", "sound_speed_m_s")
_ROWS = {
    "water": (0.55, 0.2, 1.5, 0.68, None, 1.5, 0.5, 1000.0, None, 1500.0),
    "rock": (0.55, 0.3, 1.5, None, 1.1, 1.0, 0.5, 3000.0, 30e6, 5000.0),
    "weakly_cemented_basalt": (0.46, 0.3, 0.18, None, 0.38, 1.0, 0.3, 2600.0, 0.45e6, 2000.0),
    "sand": (0.41, 0.3, 0.55, 0.59, None, 1.3, 0.3, 1600.0, None, 300.0),
    "glass_micro_spheres": (0.45, 0.5, 1.0, 0.8, None, 1.3, 0.3, 1500.0, None, 300.0),
    "sand_fly_ash": (0.40, 0.3, 0.55, None, 0.40, 1.0, 0.3, 1500.0, 4e3, 300.0),
    "perlite_sand": (0.35, 0.32, 0.60, None, 0.81, 1.0, 0.2, 1200.0, 2e3, 300.0),
}
MATERIALS: dict[str, dict[str, float]] = {
    name: {column: value for column, value in zip(_COLUMNS, row, strict=True) if value is not None}
    for name, row in _ROWS.items()
}
"""By name, the keys of a material that have a value."""
_OWN = "; from the table where name is given"


class Material(Table):
    """The ground at the site: a named material, whose values may be replaced one by one, or all values.

    Of the strength regime (h2, strength_Pa) and the gravity regime (h1) at least one; with both, the one that gives
    the smaller crater governs.
    """

    name: str = key("own", "", "a row of the table, or own: all values are given here", choices=("own", *MATERIALS))
    mu: Number = key(
        ...,
        "",
        "exponent of the coupling of speed, from just above momentum scaling, 1/3, to energy scaling, 2/3" + _OWN,
        0.335,
        2 / 3,
    )
    nu: Number = key(0.4, "", "exponent of the density ratio; 0.4 for all materials of the table", 0.0, 1.0)
    k: Number = key(..., "", "of the mass within a launch radius" + _OWN, 1e-3, 10.0)
    c1: Number = key(..., "", "of the launch speed" + _OWN, 1e-3, 100.0)
    h1: Number | None = key(None, "", "of the crater radius in the gravity regime" + _OWN, 1e-3, 100.0)
    h2: Number | None = key(None, "", "of the crater radius in the strength regime" + _OWN, 1e-3, 100.0)
    n1: Number = key(1.2, "", "innermost launch in radii of the impactor; 1.2 for all of the table", 0.0, 10.0)
    n2: Number = key(..., "", "outermost launch in crater radii" + _OWN, 0.1, 10.0)
    p: Number = key(..., "", "exponent of the fall of speed at the rim; 0 is no fall" + _OWN, 0.0, 5.0)
    density_kg_m3: Number = key(..., "kg/m3", "of the ground, not of the secondary's mean" + _OWN, 10.0, 20000.0)
    strength_Pa: Number | None = key(
        None, "Pa", "cohesion that the crater works against, from dust to the hardest rock" + _OWN, 1e-3, 1e9
    )
    sound_speed_m_s: Number | None = key(
        None, "m/s", "slower hits are outside validity, and said to be" + _OWN, 1.0, 2e4
    )

    @model_validator(mode="before")
    @classmethod
    def _from_table(cls, data: Any) -> Any:
        """What is not given comes from the row; a wrong name is refused later and alone."""
        if isinstance(data, dict) and data.get("name", "own") != "own":
            return MATERIALS.get(str(data["name"]), MATERIALS["rock"]) | data
        return data

    @model_validator(mode="after")
    def _has_a_regime(self) -> Material:
        for name, other in (("strength_Pa", "h2"), ("h2", "strength_Pa")):
            if getattr(self, name) is None and getattr(self, other) is not None:
                raise refusal(
                    name, f"the key is missing while {other} is given, the strength regime needs both; add it"
                )
        if self.h1 is None and self.h2 is None:
            raise refusal("h1", "the key is missing, allowed is h1 or h2 with strength_Pa; add one of them, or a name")
        return self
