"""What hits: the site, the momentum, and the state after the impact."""

from .apply import Impact, ImpactSpec, apply_impact, impact_on
from .frame import aim_axes, direction_in_space, ecliptic_axes, inertial_direction, orbit_axes
from .momentum import MomentumAudit
from .numbers import impact_numbers
from .release import Released
from .site import Miss, Site
from .transfer import Place, Scaled, beta_draws

__all__ = [
    "Impact",
    "ImpactSpec",
    "Miss",
    "MomentumAudit",
    "Place",
    "Released",
    "Scaled",
    "Site",
    "aim_axes",
    "apply_impact",
    "beta_draws",
    "direction_in_space",
    "ecliptic_axes",
    "impact_numbers",
    "impact_on",
    "inertial_direction",
    "orbit_axes",
]
