"""What a prediction says about the impact itself: one flat table, units in the names.

None where nothing is known; a text is empty then.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..kinds import takes
from .apply import Impact

_OF_SITE = ("incidence_deg", "lever_arm_m", "normal_radius_m")
_OF_MATERIAL = (
    "beta_low",
    "beta_high",
    "crater_radius_m",
    "cone_half_angle_deg",
    "ejecta_mass_kg",
    "mass_captured_kg",
    "mass_lost_kg",
)
_OF_THE_PAIR = ("mass_kept_system_kg", "mass_lost_system_kg")


@takes(impact="Impact")
def impact_numbers(impact: Impact) -> dict[str, float | str | None]:
    """Both betas with the middle 68 % of the first, what all boulders give, the site, the crater and its ejecta."""
    thrown, mass_kg = impact.thrown, impact.system.secondary.mass_kg
    site: Any = impact.site
    released: Any = impact.released
    found = released and released.scaled
    return {
        "beta": released and released.beta,
        "beta_system": released and released.beta_system,
        "beta_along_normal": impact.beta_along_normal,
        "boulders_dv_mm_s": 1e3 * float(np.linalg.norm(thrown.momentum_kg_m_s)) / mass_kg if thrown else None,
        "site_longitude_deg": site and site.longitude_deg,
        "site_latitude_deg": site and site.latitude_deg,
        **{name: getattr(site, name) if site else None for name in _OF_SITE},
        "crater_regime": found.crater_regime if found else "",
        **{name: getattr(found, name) if found else None for name in _OF_MATERIAL},
        **{name: getattr(released, name) if released else None for name in _OF_THE_PAIR},
    }
