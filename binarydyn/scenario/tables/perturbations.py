"""What moves the system besides its own gravity, [perturbations]: all of it off by default."""

from __future__ import annotations

import math

from pydantic import model_validator

from ...constants import YEAR_S
from ..fields import Number, Table, key, refusal


class PerturbationsTable(Table):
    """The Sun's tide, a drift of the mean motion, dissipation in the secondary."""

    solar_tide: str = key(
        "off",
        "",
        "on: the Sun's pull changes across the system; needs [heliocentric_orbit], impact_epoch_utc and the orbit's "
        "pole",
        choices=("off", "on"),
    )
    mean_motion_rate_rad_s2: Number = key(
        0.0,
        "rad/s2",
        "steady drift n' from radiation and tides, before and after t0; 0 is none; measured ones are some 1e-17, the "
        "limit is 3 % of n in 60 days",
        0.0,
        1e-12,
        signed=True,
    )
    mean_anomaly_drift_deg_yr2: Number = key(
        0.0,
        "deg/yr2",
        "the same as d of M = M0 + n t + d t^2, n' = 2 d; in place of mean_motion_rate_rad_s2",
        0.0,
        3e4,
        signed=True,
    )
    transient_period_change_s: Number = key(
        0.0,
        "s",
        "further change of the period after t0, in all; 0 is none; in 2022 it was -34 +- 15 s; an hour is beyond any",
        0.0,
        3600.0,
        signed=True,
    )
    transient_days: Number = key(
        20.0,
        "days",
        "e-folding time of that change, or its length if it is linear; in 2022 it took weeks",
        0.01,
        36500.0,
    )
    transient_profile: str = key(
        "exponential",
        "",
        "exponential dies out as a ring of ejecta does; linear goes on evenly for transient_days",
        choices=("exponential", "linear"),
    )
    love_number: Number = key(
        0.0,
        "",
        "potential Love number k2 of the secondary; 0 is no dissipation; rubble piles of its size are thought to have "
        "1e-7 to 1e-3 (Goldreich & Sari 2009, ApJ 691, 54; Jacobson & Scheeres 2011, ApJ 736, L19), 1.5 is a fluid",
        0.0,
        1.5,
    )
    time_lag_s: Number = key(
        0.0, "s", "of the secondary's tidal bulge, constant; about orbit period / (2 pi Q), Q some 10 to 100", 0.0, 1e5
    )

    @property
    def rate_rad_s2(self) -> float:
        """n' of the steady drift, by whichever key it is given."""
        return self.mean_motion_rate_rad_s2 or 2.0 * math.radians(self.mean_anomaly_drift_deg_yr2) / YEAR_S**2

    @property
    def any(self) -> bool:
        """Whether one is on."""
        return bool(self.solar_tide == "on" or self.rate_rad_s2 or self.transient_period_change_s or self.love_number)

    @model_validator(mode="after")
    def _whole(self) -> PerturbationsTable:
        if self.mean_motion_rate_rad_s2 and self.mean_anomaly_drift_deg_yr2:
            raise refusal(
                "mean_anomaly_drift_deg_yr2",
                "mean_motion_rate_rad_s2 and mean_anomaly_drift_deg_yr2 are both given, at most one is allowed; "
                "remove one of them",
            )
        for name, other in (("love_number", "time_lag_s"), ("time_lag_s", "love_number")):
            if getattr(self, other) and not getattr(self, name):
                raise refusal(name, f"it is 0 or missing while {other} is given; dissipation needs both, add it")
        for name in ("transient_days", "transient_profile"):
            if name in self.model_fields_set and not self.transient_period_change_s:
                raise refusal(
                    "transient_period_change_s", f"it is 0 or missing while {name} is given; add it or remove {name}"
                )
        return self
