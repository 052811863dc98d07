"""What a scenario says about the hit ([impactor], [momentum_transfer], [push]) and how to calculate and observe it."""

from __future__ import annotations

from pydantic import model_validator

from .directions import Direction, Site
from .fields import Number, Table, Whole, key, refusal


class Impactor(Table):
    """What hits the moonlet at t0."""

    mass_kg: Number = key(..., "kg", "at impact; from a pebble to a thousand times anything ever launched", 1e-3, 1e9)
    speed_km_s: Number = key(
        ..., "km/s", "relative to the moonlet; from a slow landing to an unbound solar orbit", 0.01, 100.0
    )
    direction: Direction
    site: Site | None = None
    aim_offset_m: tuple[Number, Number] = key(
        (0.0, 0.0),
        "m",
        "[u, v] of the aim point in the plane normal to the velocity, u along orbit normal x direction; "
        "0 aims at the centre; beyond 1000 km nothing is hit",
        -1e6,
        1e6,
    )

    @model_validator(mode="after")
    def _one_aim(self) -> Impactor:
        if self.site is not None and "aim_offset_m" in self.model_fields_set:
            raise refusal(
                "aim_offset_m", "site and aim_offset_m are both given, at most one is allowed; remove one of them"
            )
        return self


class MomentumTransfer(Table):
    """How much more than the impactor's momentum the moonlet receives.

    The ejecta leave along `ejecta_direction`, by default the outward surface normal at the site, of the facet that is
    hit on a mesh; it enters twice, so its sign is free.
    """

    beta: Number = key(
        1.0,
        "",
        "momentum enhancement along ejecta_direction (default: the surface normal at the site); 1 is no ejecta; "
        "above 100 is far beyond any experiment",
        0.0,
        100.0,
    )
    ejecta_direction: Direction | None = None


class Push(Table):
    """A change of the moonlet's relative velocity, where that itself is given."""

    along_track_mm_s: Number = key(0.0, "mm/s", "0 is no push; 100 m/s unbinds any pair", -1e5, 1e5)
    radial_mm_s: Number = key(0.0, "mm/s", "0 is no push; 100 m/s unbinds any pair", -1e5, 1e5)
    normal_mm_s: Number = key(0.0, "mm/s", "0 is no push; 100 m/s unbinds any pair", -1e5, 1e5)


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
        "adaptive, right for any motion; splitting: faster, for pairs that stay apart",
        choices=("rungekutta", "splitting"),
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

    @model_validator(mode="after")
    def _samples(self) -> Simulation:
        for name in ("days_before", "days_after"):
            samples = getattr(self, name) * 1440.0 / self.sample_minutes
            if not 2.0 <= samples <= 1e7:
                raise refusal(
                    "sample_minutes",
                    f"{self.sample_minutes:g} min makes {samples:.3g} samples of {name}, allowed is 2 .. 1e+07 "
                    f"(1.6 GB of states); change sample_minutes or {name}",
                )
        return self


class Observation(Table):
    """How the period is read from the motion."""

    estimator: str = key(
        "weighted_fit",
        "",
        "slope of the longitude weighted with a squared Hann window, the least disturbed by libration",
        choices=("weighted_fit", "longitude_slope", "crossings", "frequency", "osculating", "third_law_j2"),
    )
