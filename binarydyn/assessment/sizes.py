"""How large each perturbation is, before anything is run.

Closed forms for a circular orbit: an order of magnitude for the Sun's tide, good to some per cent for the others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..constants import DAY_S, YEAR_S
from ..dynamics import Dissipation, Drift, Perturbations, SolarTide, State, System
from ..dynamics.perturbations import share
from ..kepler import position_velocity
from ..scenario import Scenario
from .periodic import Shooting
from .perturbing import perturbations_of
from .start import bodies, wanted_of

PUSHED_ECCENTRICITY = 0.03
"""That the size of dissipation is told for: about what the 2022 test made (Naidu et al. 2024, PSJ 5, 74)."""


@dataclass(frozen=True)
class Size:
    """One perturbation: its acceleration over the mutual attraction, and what it changes of the period, s."""

    name: str
    relative_acceleration: float
    period_change_s: float
    says: str


def sizes(system: System, separation_m: float, days: float) -> list[Size]:
    """Of each perturbation of a system on a circular orbit, over a window of `days` after t0."""
    on, n = system.perturbations or Perturbations(), share(system, system.state)[0]
    found = []
    if on.tide:
        found.append(_tide(system, on.tide, separation_m, n))
    if on.drift:
        found += _drift(system, on.drift, separation_m, n, days * DAY_S)
    if on.dissipation:
        found.append(_dissipation(system, on.dissipation, separation_m, n, days * DAY_S))
    return found


def _tide(system: System, tide: SolarTide, separation_m: float, n: float) -> Size:
    """2 GM_sun r / D^3 against GM / r^2.

    A month is lengthened by about (N/n)^2 of itself, N^2 = GM_sun / D^3 (Murray & Dermott 1999, ch. 6).
    """
    position, _ = position_velocity(tide.elements, 0.0, tide.gm_m3_s2)
    ratio = tide.strength_s2(float(np.linalg.norm(position))) / n**2
    nearest = tide.strength_s2(tide.elements.pericentre_m) / n**2
    period = 2.0 * math.pi / n
    hill = tide.hill_radius_m(system.gm_m3_s2) / separation_m
    says = (
        f"at t0, an order of magnitude; up to {period * nearest:.2g} s at perihelion; "
        f"the Hill radius there is {hill:.3g} separations"
    )
    return Size("Sun's tide", 2.0 * ratio, period * ratio, says)


def _drift(system: System, drift: Drift, separation_m: float, n: float, seconds: float) -> list[Size]:
    """y n a against n^2 a, and P' = -P n'/n over the window."""
    steady, first, decay, end = drift.constants(system, system.state, True)
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
    acceleration = 3.0 * tides.coefficient(system) * e * n / separation_m**7
    libration = tides.libration_damping_s(system, separation_m)
    eccentricity = tides.eccentricity_damping_s(system, separation_m, n)
    lost = -math.expm1(-2.0 * seconds / eccentricity)
    says = (
        f"for e = {e:g}; damping time of a free libration {libration / YEAR_S:.3g} yr, of an eccentricity "
        f"{eccentricity / YEAR_S:.3g} yr (small ones)"
    )
    return Size("dissipation", acceleration / (n**2 * separation_m), -1.5 * 2.0 * math.pi / n * e * e * lost, says)


def estimated_sizes(scenario: Scenario) -> list[Size]:
    """`sizes` of a scenario on the circular orbit that is the guess of its relaxed one: nothing is integrated."""
    primary, secondary = bodies(scenario)
    shooting = Shooting(primary, secondary, 2, wanted_of(scenario))
    factor, separation_m, n = shooting.guess()
    state = State.from_vector(shooting.first_state(separation_m, n))
    primary, secondary = primary.scaled_mass(factor), secondary.scaled_mass(factor)
    system = System(primary, secondary, state, perturbations=perturbations_of(scenario, secondary))
    return sizes(system, separation_m, scenario.simulation.days_after)
