"""From where the system is observed, and how sharp its shadows are taken: the table [observer]."""

from __future__ import annotations

from pydantic import model_validator

from ..fields import Number, Table, key, refusal


class Observer(Table):
    """A place on the Earth, by default its centre."""

    longitude_deg: Number | None = key(
        None, "deg", "of the site, east is positive; none: the Earth's centre", -360.0, 360.0
    )
    latitude_deg: Number | None = key(
        None, "deg", "of the site, geodetic; it goes together with longitude_deg", -90.0, 90.0
    )
    height_m: Number = key(0.0, "m", "of the site above the ellipsoid WGS84; from the Dead Sea to space", -500.0, 1e5)
    sunlight: str = key(
        "point",
        "",
        "point: sharp shadows; disc: contacts of the penumbra and the umbra of a Sun with a radius",
        choices=("point", "disc"),
    )

    @model_validator(mode="after")
    def _whole_site(self) -> Observer:
        for name, other in (("longitude_deg", "latitude_deg"), ("latitude_deg", "longitude_deg")):
            if getattr(self, name) is None and getattr(self, other) is not None:
                raise refusal(name, f"the key is missing while {other} is given; add it, they go together")
        if "height_m" in self.model_fields_set and self.longitude_deg is None:
            raise refusal("height_m", "it is given without a site; add longitude_deg and latitude_deg or remove it")
        return self
