"""What a spacecraft meets near the system, and what the impact does to the system's orbit about the Sun."""

from ..kepler import hill_radius_m
from .environment import (
    Ground,
    circular_period_h,
    circular_speed_m_s,
    escape_speed_m_s,
    grounds,
    light_acceleration_m_s2,
    solar_flux_w_m2,
    sphere_of_influence_m,
    synchronous_radius_m,
    terminator_limits_m,
    volume_radius_m,
)
from .heliocentric import Deflection, deflection, lead_years_for_earth_radius, rule_of_thumb_m
from .passes import Pass, range_of_speeds_m_s

__all__ = [
    "Deflection",
    "Ground",
    "Pass",
    "circular_period_h",
    "circular_speed_m_s",
    "deflection",
    "escape_speed_m_s",
    "grounds",
    "hill_radius_m",
    "lead_years_for_earth_radius",
    "light_acceleration_m_s2",
    "range_of_speeds_m_s",
    "rule_of_thumb_m",
    "solar_flux_w_m2",
    "sphere_of_influence_m",
    "synchronous_radius_m",
    "terminator_limits_m",
    "volume_radius_m",
]
