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
SOLAR_IRRADIANCE_1AU_W_M2 = 1361.0
"""Total solar irradiance at 1 au, W/m2 (IAU 2015 resolution B3, nominal; Kopp & Lean 2011, GRL 38, L01706)."""
EARTH_RADIUS_M = 6.3781e6
"""Equatorial radius of the Earth, m (IAU 2015 resolution B3, nominal)."""
YEAR_S = 365.25 * DAY_S
"""Julian year."""
