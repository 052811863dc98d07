"""What hits: the site, the momentum, and the state after the impact."""

from .apply import Impact, ImpactSpec, apply_impact, impact_on
from .frame import aim_axes, direction_in_space, ecliptic_axes, inertial_direction, orbit_axes
from .momentum import MomentumAudit
from .site import Miss, Site

__all__ = [
    "Impact",
    "ImpactSpec",
    "Miss",
    "MomentumAudit",
    "Site",
    "aim_axes",
    "apply_impact",
    "direction_in_space",
    "ecliptic_axes",
    "impact_on",
    "inertial_direction",
    "orbit_axes",
]
