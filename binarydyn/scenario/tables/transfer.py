"""What a scenario says about the momentum that ejecta add to an impact: the table [momentum_transfer]."""

from __future__ import annotations

from pydantic import model_validator

from ..fields import Number, Table, key, refusal
from .directions import Direction
from .materials import Material


class MomentumTransfer(Table):
    """How much more than the impactor's momentum the secondary receives: beta itself, or the ground's material.

    The ejecta leave about `ejecta_direction`, by default the outward surface normal at the site, on a mesh the mean
    over the expected crater (see normal_radius_m); it enters twice, so its sign is free.
    """

    beta: Number = key(
        1.0,
        "",
        "momentum enhancement along ejecta_direction (default: the surface normal at the site); 1 is no ejecta; "
        "above 100 is far beyond any experiment",
        0.0,
        100.0,
    )
    beta_system: Number | None = key(
        None, "", "as beta, counting only what leaves the system; none: all that leaves the secondary does", 0.0, 100.0
    )
    material: Material | None = None
    ejecta_direction: Direction | None = None
    ejecta_tilt_deg: Number = key(
        0.0, "deg", "of the ejecta from the surface normal, in place of ejecta_direction; 0 is along it", 0.0, 80.0
    )
    ejecta_tilt_azimuth_deg: Number = key(
        0.0,
        "deg",
        "of that tilt about the normal, from downrange (for an impact straight down, from the secondary's z axis, on "
        "its "
        "pole from its x axis); 180 is back along the flight",
        -360.0,
        360.0,
    )
    launch_angle_deg: Number = key(
        45.0,
        "deg",
        "of the ejecta above the ground; their cone's half angle is 90 less this, and the cosine of that is kept; "
        "needs a material",
        5.0,
        90.0,
    )
    ejecta_speed: str = key(
        "far_away",
        "",
        "what is summed over what leaves the secondary: what is left of the speed far away (right to 2.5 % against "
        "ejecta that are followed, 3.5 % on the trailing side), or the speed at launch (3 to 10 % too much on weak "
        "ground); beta of the system always takes what is left; needs a material",
        choices=("far_away", "launch"),
    )
    oblique: str = key(
        "normal_component",
        "",
        "what drives the ejecta of an oblique impact: its speed along the normal (common practice), or its whole "
        "speed, "
        "so that beta stays that of a vertical impact (after Raducan, Davison & Collins 2022, Icarus 374, 114793, from "
        "memory); needs a material",
        choices=("normal_component", "vertical_beta"),
    )
    scaling_sigma: Number = key(
        0.2,
        "",
        "1 sigma of ln(beta - 1) at given parameters: codes differ by 15 to 20 % for the same hit (Stickle et al. "
        "2020, Icarus 338, 113446); needs a material",
        0.0,
        3.0,
    )

    @model_validator(mode="after")
    def _beta_or_material(self) -> MomentumTransfer:
        given = self.model_fields_set
        for name in ("beta", "beta_system"):
            if self.material and name in given:
                raise refusal(name, f"material and {name} are both given, at most one is allowed; remove one of them")
        for name in ("launch_angle_deg", "ejecta_speed", "oblique", "scaling_sigma"):
            if not self.material and name in given:
                raise refusal(name, "it is given without a material, which alone uses it; add material or remove it")
        if self.ejecta_direction and {"ejecta_tilt_deg", "ejecta_tilt_azimuth_deg"} & given:
            raise refusal(
                "ejecta_direction", "ejecta_direction and a tilt are both given, at most one is allowed; remove one"
            )
        return self
