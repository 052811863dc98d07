"""What a quantity is measured in, read from the suffix of its name: the one table of suffixes."""

from __future__ import annotations

UNITS = {
    "kg_m2": "kg m2",
    "m2_kg": "m2/kg",
    "kg_m3": "kg/m3",
    "deg_day": "deg/day",
    "deg_yr2": "deg/yr2",
    "rad_s2": "rad/s2",
    "rad_s": "rad/s",
    "mm_s": "mm/s",
    "km_s": "km/s",
    "m_s": "m/s",
    "minutes": "min",
    "jd_tdb": "d",
    "days": "d",
    "deg": "deg",
    "mag": "mag",
    "au": "au",
    "kg": "kg",
    "km": "km",
    "m2": "m2",
    "Pa": "Pa",
    "h": "h",
    "m": "m",
    "s": "s",
}
"""Suffix -> unit; of two that fit the longer one counts.  `d` and `min`, since readers of netCDF convert `days`."""
BARE = "1"
"""Unit of a number without one, as netCDF writes it."""


def unit_of(name: str) -> str:
    """Unit of a name, a dotted one or an element of a list (`primary.semi_axes_m.0`) too; `1` where it carries none."""
    suffix = _suffix(_leaf(name))
    return UNITS[suffix] if suffix else BARE


def printed_unit_of(name: str) -> str:
    """The same for a reader; empty where the name carries none."""
    return unit_of(name).replace(BARE, "")


def words_of(name: str) -> str:
    """The name in words, without its unit: `impactor.mass_kg` -> `impactor mass`."""
    leaf = _leaf(name)
    suffix = _suffix(leaf)
    bare = leaf.removesuffix(f"_{suffix}") if suffix else leaf
    return name.replace(leaf, bare, 1).replace(".", " ").replace("_", " ")


def _leaf(name: str) -> str:
    """Last word of a dotted name that is not an index."""
    return next(part for part in reversed(name.split(".")) if not part.isdigit())


def _suffix(leaf: str) -> str:
    return max((suffix for suffix in UNITS if leaf.endswith(f"_{suffix}")), key=len, default="")
