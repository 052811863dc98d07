"""What a scenario says about the impact ([impactor], [velocity_change]) and how to calculate and observe it."""

from __future__ import annotations

import math
from typing import Any

from pydantic import model_validator

from ..fields import Number, Table, Whole, key, refusal
from .directions import Direction, SiteTable


class Impactor(Table):
    """What hits the secondary, or the primary, at t0; of the primary what is said here of the secondary holds for it,
    directions stay those of the orbit."""

    target: str = key(
        "secondary",
        "",
        "the body that is hit; the primary's site and axes are its own, and it is pushed and turned in its place",
        choices=("secondary", "primary"),
    )
    mass_kg: Number = key(..., "kg", "at impact; from a pebble to a thousand times anything ever launched", 1e-3, 1e9)
    speed_km_s: Number = key(
        ..., "km/s", "relative to the body that is hit; from a slow landing to an unbound solar orbit", 0.01, 100.0
    )
    density_kg_m3: Number = key(
        1000.0,
        "kg/m3",
        "as a ball of its mass, for the scaling of ejecta; 1000 lies between a hollow spacecraft and its denser parts",
        10.0,
        20000.0,
    )
    radius_m: Number | None = key(None, "m", "as a ball, in place of its density", 1e-3, 1e3)
    direction: Direction
    site: SiteTable | None = None
    aim_offset_m: tuple[Number, Number] = key(
        (0.0, 0.0),
        "m",
        "[u, v] of the aim point in the plane normal to the velocity, u along orbit normal x direction; "
        "0 aims at the centre; beyond 1000 km nothing is hit",
        -1e6,
        1e6,
    )
    aim_sigma_m: tuple[Number, Number] = key(
        (0.0, 0.0), "m", "1 sigma of the aim point along u and v; 0 is a perfect aim", 0.0, 1e6
    )
    normal_radius_m: Number | None = key(
        None,
        "m",
        "the normal at the site is the mean, by area, of the ground within this distance; none: on a mesh the radius "
        "of the expected crater (of the material, or of one in weakly cohesive sand), from the mesh's mean edge to "
        "half the secondary's mean radius, on an ellipsoid 0; 0 takes the normal at the point, of the facet hit",
        0.0,
        1e5,
    )
    normal_sigma_deg: Number = key(
        0.0,
        "deg",
        "1 sigma of the normal's tilt about each of two axes along the ground, for slopes at the scale of the crater "
        "that the shape does not have, on top of what a mesh's own roughness says; 0 is none",
        0.0,
        30.0,
    )
    grazing_deg: Number = key(
        75.0,
        "deg",
        "an impact farther from the normal is `grazing`: at less than 15 deg above the ground impactors skip off "
        "(Schultz & Gault 1990, GSA Spec. Pap. 247; Gault & Wedekind 1978, Proc. Lunar Planet. Sci. Conf. 9, 3843)",
        0.0,
        90.0,
    )

    @property
    def ball(self) -> tuple[float, float]:
        """(radius m, density kg/m3) of the ball that stands for it."""
        if self.radius_m is not None:
            return self.radius_m, self.mass_kg / (4.0 / 3.0 * math.pi * self.radius_m**3)
        return (self.mass_kg / (4.0 / 3.0 * math.pi * self.density_kg_m3)) ** (1.0 / 3.0), self.density_kg_m3

    @model_validator(mode="after")
    def _one_aim(self) -> Impactor:
        for name in ("aim_offset_m", "aim_sigma_m"):
            if self.site is not None and name in self.model_fields_set:
                raise refusal(name, f"site and {name} are both given, at most one is allowed; remove one of them")
        if self.radius_m is not None and "density_kg_m3" in self.model_fields_set:
            raise refusal(
                "radius_m", "density_kg_m3 and radius_m are both given, at most one is allowed; remove one of them"
            )
        if not 1.0 <= self.ball[1] <= 25000.0:
            raise refusal(
                "radius_m",
                f"{self.radius_m:g} m makes a density of {self.ball[1]:.3g} kg/m3, allowed is 1 .. 25000; "
                "check radius_m and mass_kg",
            )
        return self


class VelocityChange(Table):
    """A change of the secondary's relative velocity, where that itself is given."""

    along_track_mm_s: Number = key(0.0, "mm/s", "0 is no velocity change; 100 m/s unbinds any system", -1e5, 1e5)
    radial_mm_s: Number = key(0.0, "mm/s", "0 is no velocity change; 100 m/s unbinds any system", -1e5, 1e5)
    normal_mm_s: Number = key(0.0, "mm/s", "0 is no velocity change; 100 m/s unbinds any system", -1e5, 1e5)


MOST_SAMPLES = 1e7
"""Of one run."""


class Simulation(Table):
    """How the motion is calculated."""

    degree: Whole | str = key(
        4,
        "",
        "of the mutual potential; its relative error is about (R/r)^(degree + 2); auto: from degree_accuracy",
        choices=(2, 4, 6, 8, "auto"),
    )
    degree_accuracy: Number = key(
        1e-4, "", "relative error of the period change that degree auto aims at; 0.2 s in half an hour", 1e-12, 0.1
    )
    model_error: str = key(
        "none",
        "",
        "next_degree: also predict with the next degree, and say what that changes; it takes twice the time",
        choices=("none", "next_degree"),
    )
    integrator: str = key(
        "rungekutta",
        "",
        "adaptive, right for any motion; splitting: faster, for pairs that stay apart; gauss: to rounding, for years",
        choices=("rungekutta", "splitting", "gauss"),
    )
    tolerance: Number = key(
        1e-12,
        "",
        "relative, per step; drift under 1e-11 in 60 days; a sweep takes 1e-9 if it is not stated",
        1e-14,
        1e-6,
    )
    days_before: Number = key(
        60.0, "days", "window before t0; about 100 orbits average the libration out", 0.0, 36500.0, open_low=True
    )
    days_after: Number = key(60.0, "days", "window after t0; as long as the one before it", 0.0, 36500.0, open_low=True)
    sample_minutes: Number = key(
        20.0, "min", "spacing of the stored states; the path does not depend on it", 0.001, 1e5
    )
    max_steps: Whole = key(20_000_000, "", "a run that needs more ends as step_limit instead of never", 1000, 10**12)

    @property
    def run_options(self) -> dict[str, Any]:
        """What `simulate` is told of it."""
        return {"every_minutes": self.sample_minutes, "max_steps": self.max_steps}

    @model_validator(mode="after")
    def _samples(self) -> Simulation:
        for name in ("days_before", "days_after"):
            samples = getattr(self, name) * 1440.0 / self.sample_minutes
            if not 2.0 <= samples <= MOST_SAMPLES:
                raise refusal(
                    "sample_minutes",
                    f"{self.sample_minutes:g} min makes {samples:.3g} samples of {name}, allowed is 2 .. "
                    f"{MOST_SAMPLES:.0e} (1.6 GB of states); change sample_minutes or {name}",
                )
        return self


class Requirement(Table):
    """What the test is to achieve: a sample tells the chance of the change, a plan when it is measured."""

    period_change_s: Number | None = key(
        None, "s", "least size of the period change; none is required, up to a day", 0.0, 86400.0, open_low=True
    )
    precision_s: Number | None = key(
        None,
        "s",
        "sigma that a campaign is to reach, see `plan`; none is required, up to a day",
        0.0,
        86400.0,
        open_low=True,
    )


class Observation(Table):
    """How the period is read from the motion."""

    estimator: str = key(
        "weighted_fit",
        "",
        "slope of the longitude weighted with a squared Hann window, the least disturbed by libration",
        choices=("weighted_fit", "longitude_slope", "crossings", "frequency", "osculating", "third_law_j2"),
    )
