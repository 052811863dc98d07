"""What a scenario says about the two bodies and their orbit: the tables [primary], [secondary] and [mutual_orbit]."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from pydantic import PrivateAttr, ValidationInfo, model_validator

from ...kinds import sure
from ..fields import Number, Table, key, refusal
from ..plain import HERE
from ..reading import LARGEST_MESH_BYTES

DENSITY_KG_M3 = (10.0, 20000.0)
_AXES = "from a boulder to a body that no spacecraft could move; in place of polyhedron"
_RATIO = "with the other two of axis_ratio_ab, axis_ratio_bc and volume_equivalent_diameter_m in place of semi_axes_m"
_DENSITY = "from fluffier than fresh snow to denser than iron"
_ANGLE = (-360.0, 360.0)


class Polyhedron(Table):
    """A closed triangle mesh in a file of its own."""

    file: str = key(..., "", "OBJ-style text, STL or PLY; a path is relative to the folder of the scenario file")
    unit: str = key(..., "", "the length unit of the vertices; it is declared, never guessed", choices=("m", "km"))
    _path: Path = PrivateAttr()

    @model_validator(mode="after")
    def _exists(self, info: ValidationInfo) -> Polyhedron:
        self._path = Path((info.context or {}).get("folder", ".")) / self.file
        try:
            there, size = self._path.is_file(), self._path.stat().st_size
        except (OSError, ValueError):
            there, size = False, 0
        if size > LARGEST_MESH_BYTES:
            raise refusal(
                "file", f"the file is larger than {LARGEST_MESH_BYTES >> 20} MiB, allowed is less; thin the mesh out"
            )
        if not there:
            raise refusal("file", f"no file {self.file!r} in the scenario's folder; give the path of a mesh file")
        return self

    @property
    def path(self) -> Path:
        """The mesh file, seen from the working directory."""
        return self._path

    def to_dict(self, folder: Path = HERE) -> dict[str, Any]:
        """As of any table; the path as it is given where that leads from the folder to the file, else all of it."""
        leads_there = folder / self.file == self._path
        return super().to_dict() | {"file": self.file if leads_there else str(self._path.absolute())}


class InclusionTable(Table):
    """An ellipsoid of another density inside a body, its axes along the body's: a core, a lump, a mantle with a core in
    it.
    """

    semi_axes_m: tuple[Number, Number, Number] = key(
        ..., "m", "half the extents along the body's x, y, z, in any order; from a pebble to the body itself", 0.01, 1e6
    )
    centre_m: tuple[Number, Number, Number] = key(
        (0.0, 0.0, 0.0),
        "m",
        "in the frame in which the body's shape is given; 0 is a core in the middle; no body is larger",
        -1e6,
        1e6,
    )
    density_kg_m3: Number = key(..., "kg/m3", f"its own, {_DENSITY}; in place of what it lies in", *DENSITY_KG_M3)


class BodyTable(Table):
    """Size and mass of a body: an ellipsoid or a polyhedron, by density or by mass, and what lies in it."""

    semi_axes_m: tuple[Number, Number, Number] | None = key(
        None, "m", f"[a, b, c], half the extents, longest first; {_AXES}", 0.1, 1e6
    )
    axis_ratio_ab: Number | None = key(None, "", f"a/b, {_RATIO}", 1.0, 20.0)
    axis_ratio_bc: Number | None = key(None, "", f"b/c, {_RATIO}", 1.0, 20.0)
    volume_equivalent_diameter_m: Number | None = key(None, "m", f"of the ball of the same volume, {_RATIO}", 0.1, 1e6)
    polyhedron: Polyhedron | None = None
    density_kg_m3: Number | None = key(
        None, "kg/m3", f"outside all inclusions, {_DENSITY}; in place of mass_kg", *DENSITY_KG_M3
    )
    mass_kg: Number | None = key(
        None, "kg", "of all of it, in place of the density; from a boulder to a dwarf planet", 1.0, 1e21
    )
    inclusions: tuple[InclusionTable, ...] = key((), "", "parts of other density; none, since few interiors are known")

    @model_validator(mode="after")
    def _determined(self) -> BodyTable:
        _take_ratios(self)
        _exactly_one(self, "semi_axes_m", "polyhedron")
        _exactly_one(self, "density_kg_m3", "mass_kg")
        if self.semi_axes_m:
            _check_ellipsoid(self)
            _check_inclusions(self)
        return self

    @property
    def ellipsoid_volume_m3(self) -> float | None:
        """4/3 pi a b c; None for a polyhedron, whose volume is known once its file is read."""
        return 4.0 / 3.0 * math.pi * math.prod(self.semi_axes_m) if self.semi_axes_m else None

    @property
    def ellipsoid_mass_kg(self) -> float | None:
        """Mass as given, or density times volume without inclusions; None for a polyhedron given by density."""
        if self.mass_kg is not None or self.semi_axes_m is None:
            return self.mass_kg
        return sure(self.density_kg_m3) * sure(self.ellipsoid_volume_m3)


RATIOS = ("axis_ratio_ab", "axis_ratio_bc", "volume_equivalent_diameter_m")
"""Together they stand for semi_axes_m."""
SHAPE_KEYS = (*RATIOS, "semi_axes_m", "polyhedron", "density_kg_m3", "mass_kg", "inclusions")
"""What says the shape and the mass of a body."""


def _take_ratios(body: BodyTable) -> None:
    """Work the semi-axes out of the ratios and the volume, a b c = (D/2)^3, where these are given."""
    given = [name for name in RATIOS if getattr(body, name) is not None]
    if not given:
        return
    _refuse_a_second_shape(body, given[0])
    for name in RATIOS:
        if name not in given:
            raise refusal(name, f"the key is missing while {given[0]} is given; add it, the three go together")
    # frozen for everybody else; model_fields_set still says what was given
    body.__dict__["semi_axes_m"] = axes_of_ratios(*(getattr(body, name) for name in RATIOS))


def axes_of_ratios(ab, bc, diameter_m):
    """Semi-axes, m, of a body that is given by RATIOS: three numbers, or (n,) each."""
    middle = 0.5 * diameter_m * (bc / ab) ** (1.0 / 3.0)
    return middle * ab, middle, middle / bc


def _refuse_a_second_shape(body: BodyTable, ratio: str) -> None:
    for name in ("semi_axes_m", "polyhedron"):
        if getattr(body, name) is not None:
            raise refusal(ratio, f"{name} and {ratio} are both given, exactly one is allowed; remove one of them")


def _exactly_one(table: Table, first: str, second: str) -> None:
    given = [name for name in (first, second) if getattr(table, name) is not None]
    if len(given) == 2:
        raise refusal(second, f"{first} and {second} are both given, exactly one is allowed; remove one of them")
    if not given:
        raise refusal(first, f"neither {first} nor {second} is given, exactly one is needed; add one of them")


def _check_ellipsoid(body: BodyTable) -> None:
    a, b, c = sure(body.semi_axes_m)
    if not a >= b >= c:
        raise refusal("semi_axes_m", f"[{a:g}, {b:g}, {c:g}] is given, allowed is a >= b >= c; list the longest first")
    if body.mass_kg is not None:
        density, (low, high) = body.mass_kg / sure(body.ellipsoid_volume_m3), DENSITY_KG_M3
        if not low <= density <= high:
            raise refusal(
                "mass_kg",
                f"{body.mass_kg:g} kg in these axes is a density of {density:.3g} kg/m3, allowed is {low:g} .. "
                f"{high:g} ({_DENSITY}); check the mass and the axes",
            )


def _check_inclusions(body: BodyTable) -> None:
    """What any inclusion must obey; whether a slanting one sticks out is seen once the bodies are built."""
    for row, part in enumerate(body.inclusions):
        for axis, size, place, limit in zip(
            "xyz", part.semi_axes_m, part.centre_m, sure(body.semi_axes_m), strict=True
        ):
            if abs(place) + size > limit * (1.0 + 1e-9):
                raise refusal(
                    ("inclusions", str(row), "semi_axes_m"),
                    f"it sticks out of the body: it reaches {abs(place) + size:g} m along {axis}, allowed is up to "
                    f"{limit:g} m; check semi_axes_m (half the extents) and centre_m",
                )


class Primary(BodyTable):
    """The larger body."""

    spin_period_h: Number = key(
        ...,
        "h",
        "sidereal; negative turns against the orbit; faster bodies fly apart, slower ones hardly turn",
        0.1,
        1e5,
        signed=True,
    )
    rotation_phase_deg: Number = key(
        0.0, "deg", "angle from the secondary's direction to the long axis at t0; 0 because it is rarely known", *_ANGLE
    )


class Secondary(BodyTable):
    """The secondary."""

    spin: str = key(
        "synchronous", "", "the usual state of a close secondary, and the only one so far", choices=("synchronous",)
    )
    libration_amplitude_deg: Number = key(
        0.0,
        "deg",
        "free libration set on purpose; 0 is the relaxed state; beyond 60 the secondary is about to tumble",
        0.0,
        60.0,
    )
    libration_phase_deg: Number = key(
        0.0, "deg", "phase of that libration at t0; it matters only with an amplitude", *_ANGLE
    )
    cohesion_Pa: Number = key(
        0.0,
        "Pa",
        "that holds its rubble together, mean over the body; the motion does not know it, but what it takes after the "
        "impact is told against it; 0 is loose rubble, above 1 MPa is solid rock",
        0.0,
        1e9,
    )


_UNKNOWN = {"separation": "separation_m", "period": "period_h"}


class MutualOrbit(Table):
    """The orbit of the secondary about the primary, before the impact."""

    separation_m: Number | None = key(
        None,
        "m",
        "time-mean distance between the centres; from boulders in touch to far beyond any Hill sphere",
        0.2,
        1e8,
    )
    period_h: Number | None = key(
        None, "h", "mean sidereal period; shorter than any contact pair's, or longer than 11 years", 0.1, 1e5
    )
    eccentricity: Number = key(
        0.0, "", "geometric; 0 is the relaxed state; above 0.15 a secondary's spin hardly stays locked", 0.0, 0.15
    )
    pericentre_deg: Number = key(
        0.0,
        "deg",
        "angle from the secondary at t0 forward to the pericentre; it matters only with an eccentricity",
        *_ANGLE,
    )
    pole_longitude_deg: Number | None = key(
        None, "deg", "of the orbit normal, ecliptic J2000; needed only where the ecliptic is", *_ANGLE
    )
    pole_latitude_deg: Number | None = key(
        None, "deg", "of the orbit normal, ecliptic J2000; below 0 the orbit is retrograde", -90.0, 90.0
    )
    node_angle_deg: Number = key(
        0.0,
        "deg",
        "from the orbit's ascending node on the ecliptic forward to the secondary at t0; it matters only with a pole",
        *_ANGLE,
    )
    solve_for: str = key(
        "density",
        "",
        "what calibration may change; density (one factor on both bodies) is the least well measured",
        choices=("density", "mass", "separation", "period"),
    )

    @property
    def unknown(self) -> str:
        """What calibration finds: the mass_factor of both bodies, or the key that is not given."""
        return _UNKNOWN.get(self.solve_for, "mass_factor")

    @property
    def pole_deg(self) -> tuple[float, float] | None:
        """Ecliptic longitude and latitude of the orbit normal, where they are given."""
        longitude = self.pole_longitude_deg
        return None if longitude is None else (longitude, sure(self.pole_latitude_deg))

    @model_validator(mode="after")
    def _whole_pole(self) -> MutualOrbit:
        for name, other in (("pole_longitude_deg", "pole_latitude_deg"), ("pole_latitude_deg", "pole_longitude_deg")):
            if getattr(self, name) is None and getattr(self, other) is not None:
                raise refusal(name, f"the key is missing while {other} is given; add it, they go together")
        return self

    @model_validator(mode="after")
    def _determined(self) -> MutualOrbit:
        for free, name in _UNKNOWN.items():
            given = getattr(self, name) is not None
            if given and self.unknown == name:
                raise refusal(
                    name,
                    f'the system is over-determined: {name} is given while solve_for = "{free}"; '
                    f"remove {name} or choose another solve_for",
                )
            if not given and self.unknown != name:
                raise refusal(
                    name,
                    f'the system is under-determined: {name} is missing while solve_for = "{self.solve_for}"; '
                    f'add {name}, or write solve_for = "{free}"',
                )
        return self
