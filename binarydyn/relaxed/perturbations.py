"""From a scenario to the perturbations of its system, and where they are outside their validity."""

from __future__ import annotations

from ..constants import DAY_S
from ..dynamics import Dissipation, Drift, Perturbations, SolarTide, System
from ..impact.frame import ecliptic_axes
from ..kinds import sure
from ..motion.damping import eccentricity_damping_s, libration_damping_s
from ..motion.drift import mean_motion_and_drag
from ..scenario import Scenario
from ..scenario.tables.heliocentric import elements_at_impact
from ..surroundings import volume_radius_m

LONGEST_LAG = 0.1
"""Of 1/n: beyond, a bulge that follows with one lag is no longer the first term of anything."""


def perturbations_of(scenario: Scenario, secondary) -> Perturbations | None:
    """Those that a scenario switches on; None without any."""
    asked = scenario.perturbations
    if not asked.any:
        return None
    tide = drift = dissipation = None
    if asked.solar_tide == "on":
        elements = elements_at_impact(sure(scenario.heliocentric_orbit), scenario.impact_epoch_utc)
        tide = SolarTide(elements, ecliptic_axes(scenario.mutual_orbit))
    if asked.rate_rad_s2 or asked.transient_period_change_s:
        seconds = asked.transient_days * DAY_S
        drift = Drift(asked.rate_rad_s2, asked.transient_period_change_s, seconds, asked.transient_profile)
    if asked.love_number:
        dissipation = Dissipation(asked.love_number, asked.time_lag_s, volume_radius_m(secondary))
    return Perturbations(tide, drift, dissipation)


def perturbation_warnings(system: System, separation_m: float, days_before: float) -> tuple[str, ...]:
    """Where a perturbation is outside its validity, or lets the run before t0 depart from the relaxed state."""
    on, n = system.perturbations, mean_motion_and_drag(system, system.state)[0]
    if on is None:
        return ()
    said = [
        f"with {' and '.join(on.names)} energy and angular momentum are not conserved: no drift of them is reported"
    ]
    if on.dissipation:
        if on.dissipation.time_lag_s * n > LONGEST_LAG:
            said.append(
                f"the tidal lag of {on.dissipation.time_lag_s:g} s is {on.dissipation.time_lag_s * n:.2g} of 1/n, "
                f"above {LONGEST_LAG:g}: a constant lag is not valid there"
            )
        damping = libration_damping_s(on.dissipation, system, separation_m)
        damping = min(damping, eccentricity_damping_s(on.dissipation, system, separation_m, n))
        if damping < days_before * DAY_S:
            said.append(
                f"tides damp free motion in {damping / DAY_S:.3g} days, so backwards it grows within the window before "
                "t0: shorten days_before"
            )
    return tuple(said)
