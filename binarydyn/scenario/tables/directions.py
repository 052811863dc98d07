"""What points somewhere in a scenario: a direction in one of three frames, and a place on the secondary."""

from __future__ import annotations

import math

from pydantic import model_validator

from ...columns import towards
from ...kinds import sure
from ..fields import Number, Table, key, refusal

_ORBIT = ("along_track", "radial", "normal")
_INERTIAL = ("inertial.0", "inertial.1", "inertial.2")
_ECLIPTIC = ("ecliptic_longitude_deg", "ecliptic_latitude_deg")


class Direction(Table):
    """A direction at t0, in one of three frames.

    Orbit axes: along the secondary's motion, outward from the primary, along the orbit normal.  `inertial`: x from the
    primary to the secondary at t0, z along the orbit normal before the impact.  Ecliptic J2000 longitude and latitude,
    which needs the pole in [mutual_orbit].
    """

    along_track: Number = key(
        0.0, "", "component along the secondary's motion; only the ratio of the three counts", -1e6, 1e6
    )
    radial: Number = key(0.0, "", "component outward from the primary; only the ratio of the three counts", -1e6, 1e6)
    normal: Number = key(0.0, "", "component along the orbit normal; only the ratio of the three counts", -1e6, 1e6)
    inertial: tuple[Number, Number, Number] | None = key(
        None,
        "",
        "[x, y, z], x from the primary to the secondary at t0 in the relaxed state, z along the orbit normal; only the "
        "ratio counts",
        -1e6,
        1e6,
    )
    ecliptic_longitude_deg: Number | None = key(
        None, "deg", "ecliptic J2000; needs the pole in [mutual_orbit]", -360.0, 360.0
    )
    ecliptic_latitude_deg: Number | None = key(
        None, "deg", "ecliptic J2000; needs the pole in [mutual_orbit]", -90.0, 90.0
    )

    @model_validator(mode="after")
    def _points_somewhere(self) -> Direction:
        frames = [
            any(name in self.model_fields_set for name in _ORBIT),
            self.inertial is not None,
            any(getattr(self, name) is not None for name in _ECLIPTIC),
        ]
        if sum(frames) > 1:
            raise refusal(
                "", "more than one frame is given, allowed is one: along_track, radial, normal or inertial or ecliptic"
            )
        if frames[2]:
            for name in _ECLIPTIC:
                if getattr(self, name) is None:
                    raise refusal(name, "the key is missing, longitude and latitude go together; add it")
        elif math.hypot(*self._components) < 1e-6:
            raise refusal(
                "", "all components are zero, allowed is any other direction; give along_track, radial or normal"
            )
        return self

    @property
    def frame(self) -> str:
        """`orbit`, `inertial` or `ecliptic`."""
        if self.inertial is not None:
            return "inertial"
        return "orbit" if self.ecliptic_longitude_deg is None else "ecliptic"

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of the numbers that give it in its frame: three components, or longitude and latitude."""
        return {"orbit": _ORBIT, "inertial": _INERTIAL, "ecliptic": _ECLIPTIC}[self.frame]

    @property
    def unit(self) -> tuple[float, float, float]:
        """The unit vector in its frame: (along_track, radial, normal), or x, y, z."""
        if self.frame == "ecliptic":
            longitude, latitude = sure(self.ecliptic_longitude_deg), sure(self.ecliptic_latitude_deg)
            return tuple(towards(longitude, latitude).tolist())
        one, two, three = self._components
        length = math.hypot(one, two, three)
        return one / length, two / length, three / length

    @property
    def _components(self) -> tuple[float, float, float]:
        return self.inertial or (self.along_track, self.radial, self.normal)


class SiteTable(Table):
    """A point on the surface of the body that is hit, in its own (principal-axis) frame."""

    longitude_deg: Number = key(
        ...,
        "deg",
        "east of the long axis; the secondary's points at the primary in the relaxed state",
        -180.0,
        360.0,
    )
    latitude_deg: Number = key(..., "deg", "north of its equator", -90.0, 90.0)
