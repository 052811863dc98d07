"""How large each perturbation is, before anything is run.

Closed forms for a circular orbit, good to some per cent; the Sun's tide (tide.py) also where it is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..constants import DAY_S, HOUR_S, YEAR_S, G
from ..dynamics import Dissipation, Drift, Perturbations, SolarTide, State, System
from ..impact import impact_on
from ..kinds import sure
from ..motion.damping import eccentricity_damping_s, libration_damping_s
from ..motion.drift import drag_constants
from ..motion.perturbing import lag_coefficient
from ..motion.state import flattening_m2
from ..relaxed.asked import wanted_of
from ..relaxed.bodies import bodies
from ..relaxed.circular import circular_state, third_law
from ..relaxed.perturbations import perturbations_of
from ..scenario import Scenario
from ..scenario.tables.heliocentric import elements_of
from ..scenario.wording import rounded
from .closed_forms import analytic_changes
from .solar_tide import TideSize, at_most_s, tide_of, tide_size

PUSHED_ECCENTRICITY = 0.03
"""That the size of dissipation is told for: about what the 2022 test made (Naidu et al. 2024, PSJ 5, 74)."""


@dataclass(frozen=True)
class Size:
    """One perturbation: its acceleration over the mutual attraction, and what it changes of the period change, s.

    is_on: the Sun's tide is told of where it is left out too.
    """

    name: str
    relative_acceleration: float
    period_change_s: float
    says: str
    is_on: bool = True


def estimated_sizes(scenario: Scenario) -> list[Size]:
    """Of each perturbation that is on, and of the Sun's tide wherever the orbit about the Sun is known.

    On the circular orbit that is the guess of the relaxed one: nothing is integrated.
    """
    primary, secondary = bodies(scenario)
    wanted, gm = wanted_of(scenario), G * (primary.mass_kg + secondary.mass_kg)
    factor, separation_m, n = third_law(gm, flattening_m2(primary, secondary), wanted)
    state = State.from_vector(circular_state(wanted, separation_m, n))
    primary, secondary = primary.scaled_mass(factor), secondary.scaled_mass(factor)
    system = System(primary, secondary, state, perturbations=perturbations_of(scenario, secondary))
    on = system.perturbations or Perturbations()
    seconds, found = scenario.simulation.days_after * DAY_S, []
    if scenario.heliocentric_orbit:
        found.append(_tide(scenario, system, separation_m, n))
    if on.drift:
        found += _drift(system, on.drift, separation_m, n, seconds)
    if on.dissipation:
        found.append(_dissipation(system, on.dissipation, separation_m, n, seconds))
    return found


def _tide(scenario: Scenario, system: System, separation_m: float, n: float) -> Size:
    """2 GM_sun r / D^3 against GM / r^2 at t0, and the periods of both windows, the second by a closed form."""
    period = 2.0 * math.pi / n
    size = sure(tide_size(scenario, period, _after_s(scenario, system, separation_m, period)))
    tide = tide_of(scenario)
    nearest = SolarTide(elements_of(sure(scenario.heliocentric_orbit)), np.eye(3))
    strength = tide.strength_at_start_s2 if tide else nearest.perihelion_strength_s2
    is_on = scenario.perturbations.solar_tide == "on"
    says = (
        f"{'' if is_on else 'left out; '}{_of_period(size)}, as P^3/D^3; up to "
        f"{rounded(at_most_s(nearest, period), 2)} s at perihelion, where the Hill radius is "
        f"{nearest.hill_radius_m(system.gm_m3_s2) / separation_m:.3g} separations"
    )
    return Size("Sun's tide", 2.0 * strength / n**2, size.change_s, says, is_on)


def _after_s(scenario: Scenario, system: System, separation_m: float, period_s: float) -> float:
    """What the impact makes of the period, on a Kepler orbit; the same where the system would part."""
    impact = impact_on(system, scenario)
    dv = 1e-3 * np.array([impact.dv_along_track_mm_s, impact.dv_radial_mm_s, impact.dv_normal_mm_s])
    change = analytic_changes(separation_m, period_s / HOUR_S, 0.0, dv)["vis_viva"]
    return period_s + (change if math.isfinite(change) else 0.0)


def _of_period(size: TideSize) -> str:
    if size.is_bound:
        return "at most, since date or pole are not known"
    return f"of the period {rounded(size.before_s, 2, '+')} s before and {rounded(size.after_s, 2, '+')} s after t0"


def _drift(system: System, drift: Drift, separation_m: float, n: float, seconds: float) -> list[Size]:
    """y n a against n^2 a, and P' = -P n'/n over the window."""
    steady, first, decay, end = drag_constants(drift, system, system.state, True)
    period, found = 2.0 * math.pi / n, []
    if drift.rate_rad_s2:
        relative = drift.rate_rad_s2 / n
        growth = -2.0 / 3.0 * separation_m * relative * YEAR_S * 100.0
        says = f"from the start to the end of a window; the separation changes by {growth:+.3g} cm/yr"
        found.append(Size("drift", abs(steady) / n, -period * relative * seconds, says))
    if drift.transient_period_change_s:
        done = -math.expm1(-decay * seconds) if decay else min(1.0, seconds / end)
        days = drift.transient_s / DAY_S
        word = "e-folding time" if decay else "it lasts"
        says = f"of {drift.transient_period_change_s:+.3g} s in all, by the end of the window; {word} {days:.4g} d"
        found.append(Size("transient drift", abs(first) / n, drift.transient_period_change_s * done, says))
    return found


def _dissipation(system: System, tides: Dissipation, separation_m: float, n: float, seconds: float) -> Size:
    """9 K e n / a^7 against n^2 a at an eccentricity e, whose decay shortens the period (angular momentum stays)."""
    e = PUSHED_ECCENTRICITY
    acceleration = 3.0 * lag_coefficient(tides, system) * e * n / separation_m**7
    libration = libration_damping_s(tides, system, separation_m)
    eccentricity = eccentricity_damping_s(tides, system, separation_m, n)
    lost = -math.expm1(-2.0 * seconds / eccentricity)
    says = (
        f"for e = {e:g}; damping time of a free libration {libration / YEAR_S:.3g} yr, of an eccentricity "
        f"{eccentricity / YEAR_S:.3g} yr (small ones)"
    )
    return Size("dissipation", acceleration / (n**2 * separation_m), -1.5 * 2.0 * math.pi / n * e * e * lost, says)
