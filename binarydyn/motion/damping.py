"""How fast tides in the secondary damp its libration and the orbit's eccentricity, in closed form."""

from __future__ import annotations

from ..constants import G
from .perturbations import Dissipation
from .state import System


def libration_damping_s(tides: Dissipation, system: System, separation_m: float) -> float:
    """e-folding time of a small free libration, 2 C a^6 / (3 k2 lag G M1^2 R2^5); uncoupled from the orbit."""
    pull = 3.0 * tides.love_number * tides.time_lag_s * G * system.primary.mass_kg**2 * tides.radius_m**5
    return 2.0 * system.secondary.inertia_kg_m2[2] * separation_m**6 / pull


def eccentricity_damping_s(tides: Dissipation, system: System, separation_m: float, mean_motion_rad_s: float) -> float:
    """e-folding time of a small eccentricity of a synchronous secondary, with the libration that it forces.

    1/t = 3 k2 lag n^2 (M1/M2) (R2/a)^5 (3/2 + B^2/2), where B e = 2 e / ((w/n)^2 - 1) is the forced yaw from the
    line of centres and w^2 = 3 n^2 (B - A)/C.  A round secondary, w = 0, has 3/2 + 2: 21/2 k2 lag n^2 ... (Hut
    1981, eq. 10 at small e; the rest from the power lost).  Useless near w = n, a resonance.
    """
    ix, iy, iz = system.secondary.inertia_kg_m2
    yaw = 2.0 / (3.0 * (iy - ix) / iz - 1.0)
    ratio = system.primary.mass_kg / system.secondary.mass_kg
    rate = 3.0 * tides.love_number * tides.time_lag_s * mean_motion_rad_s**2 * ratio
    return 1.0 / (rate * (tides.radius_m / separation_m) ** 5 * (1.5 + 0.5 * yaw * yaw))
