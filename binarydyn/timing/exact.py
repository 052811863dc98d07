"""The orbit of the fit through exact conjunctions of a simulated system: what a fit of its events is held against.

A mean period depends on the window in which it is taken where the orbit librates or tumbles, so a measured change is
compared with that of the same model through the exact conjunctions of the same days.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .cycle_count import straight
from .mid_times import Readings
from .noise import Noise
from .orbit import Counted
from .starts import minima
from .terms import INDEX, NAMES, TURN, Foreknown, Priors

_SIGMA_S = 5.0
"""Of every conjunction, so that the priors say nothing."""
_OPEN = np.isin(NAMES, [f"{c}_{side}" for c in "hk" for side in ("before", "after")])
LEAST_SHARE = 0.05
"""Of an apsidal rate below which its sigma is not taken: the model's ellipse is none exactly."""

ECCENTRICITY_SHARE = 2.0
"""One sigma of h and of k, in parts of the size that simulated systems have: a real impact may be stronger, and as a
sigma that size itself pulls e to less where apsides hardly turn over the data."""
LEAST_ECCENTRICITY = 0.01
"""The same sigma, however gentle the simulated impacts are."""


@dataclass(frozen=True)
class ExactOrbit:
    """Period after less period before, eccentricity after, rate of the line of apsides; rms of what is left;
    values of all parameters by name (terms.NAMES)."""

    change_s: float
    eccentricity: float
    apsidal_rad_s: float
    left_s: float
    values: dict[str, float]

    @classmethod
    def through(cls, seen: Readings, counted_rad: np.ndarray, expected: Foreknown) -> ExactOrbit:
        """Exact conjunctions (n,) with their turns, at least 3 on either side of t0."""
        priors = Priors.of(expected, float(np.abs(seen.time_s).max()))
        priors = replace(priors, precision=np.where(_OPEN, 1.0, priors.precision))
        counted = Counted(seen, counted_rad[None])
        weighing = Noise.of(np.full(len(counted_rad), _SIGMA_S), None, None).at(1.0, 0.0)
        x = minima(straight(counted, expected.apsidal_rad_s), counted, weighing, priors).x[0]
        rates = x[[INDEX["rate_before"], INDEX["rate_after"]]]
        left = Counted(seen, counted_rad).late_s(x)
        return cls(
            float(np.diff(TURN / rates)[0]),
            float(np.hypot(x[INDEX["h_after"]], x[INDEX["k_after"]])),
            float(x[INDEX["apsidal_rate"]]),
            float(np.sqrt(np.mean(left**2))),
            dict(zip(NAMES, map(float, x), strict=True)),
        )


def foreknown_of(orbits: list[ExactOrbit], expected: Foreknown) -> Foreknown:
    """What simulated systems foretell: their apsidal rate, +- its scatter, in place of that of an oblate primary; and
    how large an eccentricity may be, in any direction."""
    rates = np.array([orbit.apsidal_rad_s for orbit in orbits])
    middle = float(np.median(rates))
    scatter = float(np.sqrt(np.mean((rates - middle) ** 2)))
    size = float(np.sqrt(np.mean([orbit.eccentricity**2 for orbit in orbits])))
    return replace(
        expected,
        apsidal_rad_s=middle,
        apsidal_sigma_rad_s=max(scatter, LEAST_SHARE * abs(middle)),
        eccentricity_sigma=max(ECCENTRICITY_SHARE * size, LEAST_ECCENTRICITY),
    )
