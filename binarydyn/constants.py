"""Physical constants in SI units, each with its source."""

G = 6.67430e-11
"""Gravitational constant, m3 kg-1 s-2 (CODATA 2018 and 2022)."""
GM_SUN = 1.3271244e20
"""Heliocentric gravitational constant, m3 s-2 (IAU 2015 resolution B3)."""
ASTRONOMICAL_UNIT_M = 149_597_870_700.0
"""Astronomical unit, m (IAU 2012 resolution B2)."""
SPEED_OF_LIGHT_M_S = 299_792_458.0
"""Speed of light, m/s (exact)."""
HOUR_S = 3600.0
DAY_S = 86400.0
