"""What hits: the site, the momentum, and the state after the impact."""

from .apply import Impact, ImpactSpec, impact_on
from .boulders import Thrown, boulders_thrown
from .budget import Budget, impact_budget
from .frame import aim_axes, axes_of, direction_in_space, ecliptic_axes, inertial_direction, orbit_axes
from .hit import hit
from .momentum import MomentumAudit
from .numbers import impact_numbers
from .release import Released
from .reshaping import Reshaped, first_order_change, reshaped
from .site import Miss, Site
from .slopes import slopes_about
from .transfer import Place, Scaled, beta_draws
from .turns import turns_deg

__all__ = [
    "Budget",
    "Impact",
    "ImpactSpec",
    "Miss",
    "MomentumAudit",
    "Place",
    "Released",
    "Reshaped",
    "Scaled",
    "Site",
    "Thrown",
    "aim_axes",
    "axes_of",
    "beta_draws",
    "boulders_thrown",
    "direction_in_space",
    "ecliptic_axes",
    "first_order_change",
    "hit",
    "impact_budget",
    "impact_numbers",
    "impact_on",
    "inertial_direction",
    "orbit_axes",
    "reshaped",
    "slopes_about",
    "turns_deg",
]
