"""What follows from a scenario without running it: the bodies, their orbit, its small motions, and the surroundings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np

from ..bodies.averaged import Averaged
from ..constants import HOUR_S, G
from ..dynamics import Equilibrium, relative_equilibrium
from ..dynamics.angular_momentum import angular_momenta
from ..errors import ConvergenceError
from ..impact import Impact, impact_on
from ..kepler import Elements, position_velocity
from ..kinds import takes
from ..motion.state import Body, quadrupole_kg_m2
from ..relaxed.start import Start, start
from ..scenario import Scenario
from ..scenario.tables.heliocentric import elements_at_impact, elements_of
from ..surroundings import (
    Deflection,
    Ground,
    Pass,
    deflection,
    grounds,
    hill_radius_m,
    light_acceleration_m_s2,
    range_of_speeds_m_s,
    solar_flux_w_m2,
    sphere_of_influence_m,
    terminator_limits_m,
    volume_radius_m,
)

POINT_MASS_SEPARATIONS = 2.0
"""Nearer than that the system is no point mass for a pass: its bodies bend it one by one (common practice)."""


def standing_still(scenario: Scenario, begun: Start, facing: str = "long") -> Equilibrium:
    """The relative equilibrium at the relaxed separation, the primary averaged over its spin; facing: the secondary's
    axis along r.  ConvergenceError where there is none."""
    return relative_equilibrium(
        cast(Body, Averaged(begun.system.primary)),
        begun.system.secondary,
        separation_m=begun.separation_m,
        facing=("long", facing),
        spins_rad_s=(2.0 * math.pi / (scenario.primary.spin_period_h * HOUR_S), None),
        degree=begun.system.degree,
    )


@dataclass(frozen=True)
class GravityFigure:
    """A body's mass and the coefficients of its potential, of its principal axes and its mean radius R.

    J2 = (I_z - (I_x + I_y)/2) / (M R^2), C22 = (I_y - I_x) / (4 M R^2), R that of the sphere of the same volume.
    """

    mass_kg: float
    gm_m3_s2: float
    density_kg_m3: float
    radius_m: float
    j2: float
    c22: float

    @classmethod
    def of(cls, body: Body) -> GravityFigure:
        """Of a body of the package."""
        radius, (polar, sectorial) = volume_radius_m(body), quadrupole_kg_m2(body)
        scale = body.mass_kg * radius**2
        return cls(
            mass_kg=body.mass_kg,
            gm_m3_s2=G * body.mass_kg,
            density_kg_m3=body.density_kg_m3,
            radius_m=radius,
            j2=float(polar / scale),
            c22=float(0.25 * sectorial / scale),
        )


@dataclass(frozen=True)
class Sunlit:
    """What depends on the distance from the Sun, at one of them."""

    where: str
    distance_m: float
    hill_radius_m: float
    solar_flux_w_m2: float
    terminator_safe_m: float
    terminator_largest_m: float


@dataclass(frozen=True)
class Description:
    """A scenario, its relaxed and calibrated start, and what both imply; SI inside, units in the names of numbers()."""

    scenario: Scenario
    start: Start

    @cached_property
    def shapes(self) -> tuple[GravityFigure, GravityFigure]:
        """Primary and secondary."""
        return GravityFigure.of(self.start.system.primary), GravityFigure.of(self.start.system.secondary)

    @cached_property
    def grounds(self) -> tuple[Ground, Ground]:
        """Primary and secondary."""
        return grounds(self.start.system, self.start.separation_m)

    @property
    def gm_m3_s2(self) -> float:
        """Of the system."""
        return self.start.system.gm_m3_s2

    @property
    def mean_motion_rad_s(self) -> float:
        """2 pi over the mean sidereal period."""
        return 2.0 * math.pi / (self.start.period_h * HOUR_S)

    @property
    def orbital_speed_m_s(self) -> float:
        """n a, of the secondary relative to the primary."""
        return self.mean_motion_rad_s * self.start.separation_m

    @property
    def own_speeds_m_s(self) -> tuple[float, float]:
        """Of primary and secondary about the barycentre."""
        system, speed = self.start.system, self.orbital_speed_m_s
        return speed * system.secondary.mass_kg / system.mass_kg, speed * system.primary.mass_kg / system.mass_kg

    @cached_property
    def _equilibrium(self) -> tuple[Equilibrium | None, str]:
        try:
            return standing_still(self.scenario, self.start), ""
        except ConvergenceError as error:
            return None, str(error)

    @property
    def equilibrium(self) -> Equilibrium | None:
        """With the primary averaged over its spin, at the relaxed separation; None where there is none."""
        return self._equilibrium[0]

    @property
    def equilibrium_reason(self) -> str:
        """Why there is none; empty where there is one."""
        return self._equilibrium[1]

    @cached_property
    def angular_momenta_kg_m2_s(self) -> dict[str, float]:
        """Along the orbit normal at t0, about the barycentre: of the orbit, of both spins, and their sum."""
        system = self.start.system
        momenta = angular_momenta(system.primary, system.secondary, system.state.vector)
        along = (momenta @ momenta[0] / np.linalg.norm(momenta[0])).tolist()
        return dict(zip(("orbit", "primary", "secondary", "total"), [*along, sum(along)], strict=True))

    @cached_property
    def elements(self) -> Elements | None:
        """About the Sun, at the impact where its epoch is given; None without [heliocentric_orbit]."""
        orbit, epoch = self.scenario.heliocentric_orbit, self.scenario.impact_epoch_utc
        if orbit is None:
            return None
        return elements_at_impact(orbit, epoch) if epoch else elements_of(orbit)

    @cached_property
    def sunlit(self) -> tuple[Sunlit, ...]:
        """At perihelion, at the impact where its epoch is given, and at aphelion; none without [heliocentric_orbit]."""
        if self.elements is None:
            return ()
        places = [("perihelion", self.elements.pericentre_m), ("aphelion", self.elements.apocentre_m)]
        if self.scenario.impact_epoch_utc:
            places.insert(1, ("impact", float(np.linalg.norm(position_velocity(self.elements)[0]))))
        return tuple(self._at(*place) for place in places)

    def _at(self, where: str, distance_m: float) -> Sunlit:
        craft = self.scenario.spacecraft
        acceleration_m_s2 = light_acceleration_m_s2(distance_m, craft.area_to_mass_m2_kg, craft.reflectance)
        return Sunlit(
            where,
            distance_m,
            hill_radius_m(distance_m, self.gm_m3_s2),
            solar_flux_w_m2(distance_m),
            *terminator_limits_m(self.gm_m3_s2, acceleration_m_s2),
        )

    @property
    def sphere_of_influence_m(self) -> float | None:
        """None without [heliocentric_orbit]."""
        return None if self.elements is None else sphere_of_influence_m(self.elements.semi_major_axis_m, self.gm_m3_s2)

    @property
    def flyby(self) -> Pass:
        """The pass of [spacecraft] about the barycentre."""
        craft = self.scenario.spacecraft
        return Pass(self.gm_m3_s2, craft.speed_at_infinity_m_s, craft.impact_parameter_m)

    @property
    def flyby_outcome(self) -> str:
        """`contact` where the pass ends in the primary, `inside` where it comes among the bodies, else `free`."""
        nearest, system = self.flyby.pericentre_m, self.start.system
        if nearest <= system.primary.bounding_radius_m:
            return "contact"
        return "inside" if nearest < POINT_MASS_SEPARATIONS * self.start.separation_m else "free"

    def relative_speeds_m_s(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """(least, greatest) relative to primary and secondary, of the pass at the spacecraft's distance."""
        speed = self.flyby.speed_m_s(self.scenario.spacecraft.distance_m)
        primary, secondary = (range_of_speeds_m_s(speed, own) for own in self.own_speeds_m_s)
        return primary, secondary

    @cached_property
    def impact(self) -> Impact:
        """What the impact of the scenario does to the relaxed state."""
        return impact_on(self.start.system, self.scenario)

    @property
    def deflection_missing(self) -> str:
        """What the effect on the heliocentric orbit lacks; empty where nothing is."""
        scenario = self.scenario
        if self.impact.status in ("none", "miss"):
            return {"none": "an impact", "miss": "an impact"}[self.impact.status]
        for name, given in (
            ("[heliocentric_orbit]", scenario.heliocentric_orbit),
            ("impact_epoch_utc", scenario.impact_epoch_utc),
            ("mutual_orbit.pole_longitude_deg", scenario.mutual_orbit.pole_deg),
        ):
            if not given:
                return name
        return ""

    @cached_property
    def deflection(self) -> Deflection | None:
        """What the impact does to the heliocentric orbit; None where something is missing."""
        if self.deflection_missing:
            return None
        scenario = self.scenario
        dv = self.impact.audit.barycentre_dv_m_s
        return deflection(scenario.heliocentric_orbit, scenario.impact_epoch_utc, scenario.mutual_orbit, dv)


@takes(scenario="Scenario")
def describe(scenario: Scenario) -> Description:
    """Relax and calibrate, and say what follows.  InputError, ConvergenceError as `relaxed.start`."""
    return Description(scenario, start(scenario))
