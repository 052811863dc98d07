"""What hits: the site, the momentum, and the state after the impact."""

from .apply import impact_on
from .books.betas import BetaRow, Betas, beta_table, betas_of
from .books.budget import Budget, impact_budget, turns_deg
from .boulders import Thrown, boulders_thrown
from .frame import aim_axes, axes_of, direction_in_space, ecliptic_axes, inertial_direction, orbit_axes
from .hit import hit
from .hits import Hits, hits
from .momentum import MomentumAudit
from .release import Released
from .reshaping import Reshaped, first_order_change, reshaped
from .site import Site
from .slopes import is_sure, slopes_about, tilts_in_orbit
from .struck import Impact, ImpactSpec
from .transfer import EjectaScaling, Place, beta_draws

__all__ = [
    "BetaRow",
    "Betas",
    "Budget",
    "EjectaScaling",
    "Hits",
    "Impact",
    "ImpactSpec",
    "MomentumAudit",
    "Place",
    "Released",
    "Reshaped",
    "Site",
    "Thrown",
    "aim_axes",
    "axes_of",
    "beta_draws",
    "beta_table",
    "betas_of",
    "boulders_thrown",
    "direction_in_space",
    "ecliptic_axes",
    "first_order_change",
    "hit",
    "hits",
    "impact_budget",
    "impact_on",
    "is_sure",
    "inertial_direction",
    "orbit_axes",
    "reshaped",
    "slopes_about",
    "tilts_in_orbit",
    "turns_deg",
]
