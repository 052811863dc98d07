"""The orbit of the fit's model through exact longitudes of a simulated system: what a fit of its events is held to.

A mean period depends on the window in which it is taken where the orbit librates or tumbles, so a measured change is
compared with that of the same model through the motion of the same days.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .cycle_count import straight
from .mid_times import Readings
from .noise import Noise, Weighing
from .orbit import Counted
from .starts import minima, polished
from .terms import INDEX, NAMES, TURN, Foreknown, Priors

_SIGMA_S = 5.0
"""Of every longitude as a time, so that the priors say nothing."""
_STEPS = 20
_OPEN = np.isin(NAMES, [f"{c}_{side}" for c in "hk" for side in ("before", "after")])
LEAST_SHARE = 0.05
"""Of an apsidal rate below which its sigma is not taken: the model's ellipse is none exactly."""
LEAST_CHANGE = 1e-4
"""Relative change of the mean motion below which it does not say what ellipse comes with it."""
ASIDE = 0.03
"""Of the eccentricity of an impulse along the motion, 2/3 of that change (Gauss's equations): the least sigma of h and
k, as an impulse 3 deg from where simulated systems have it adds."""


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
        """Exact longitudes (n,) with their turns, at least 3 on either side of t0."""
        counted = Counted(seen, counted_rad[None])
        x = minima(straight(counted, expected.apsidal_rad_s), counted, *_weights(seen, expected)).x[0]
        left = Counted(seen, counted_rad).late_s(x)
        return cls(
            float(_changes_s(x)),
            float(np.hypot(x[INDEX["h_after"]], x[INDEX["k_after"]])),
            float(x[INDEX["apsidal_rate"]]),
            float(np.sqrt(np.mean(left**2))),
            dict(zip(NAMES, map(float, x), strict=True)),
        )

    def late_s(self, seen: Readings, counted_rad: np.ndarray) -> np.ndarray:
        """(n,) O-C of readings with their turns."""
        return Counted(seen, counted_rad).late_s(np.array([self.values[name] for name in NAMES]))

    def changes_like_s(self, seen: Readings, counted_rad: np.ndarray, expected: Foreknown) -> np.ndarray:
        """(b,) the same change of orbits that differ little from this one, through readings (b, n) of theirs at times
        that they share; nan where a row is."""
        out, whole = np.full(len(counted_rad), np.nan), np.isfinite(counted_rad).all(axis=1)
        counted = Counted(seen, counted_rad[whole])
        begin = straight(counted, self.apsidal_rad_s)
        mine = np.array([self.values[name] for name in NAMES])
        begin[:, 3:] = mine[3:]
        if len(begin):
            out[whole] = _changes_s(polished(begin, counted, *_weights(seen, expected), _STEPS).x)
        return out


def _weights(seen: Readings, expected: Foreknown) -> tuple[Weighing, Priors]:
    """Of exact readings, so that the priors say nothing."""
    priors = Priors.of(expected, float(np.abs(seen.time_s).max()))
    priors = replace(priors, precision=np.where(_OPEN, 1.0, priors.precision), ties=priors.ties[:0])
    return Noise.of(np.full(len(seen.time_s), _SIGMA_S), None, None).at(1.0, 0.0), priors


def _changes_s(x: np.ndarray) -> np.ndarray:
    """Of parameters (.., 9)."""
    return TURN / x[..., INDEX["rate_after"]] - TURN / x[..., INDEX["rate_before"]]


def foreknown_of(orbits: list[ExactOrbit], expected: Foreknown) -> Foreknown:
    """What simulated systems foretell: their apsidal rate, +- its scatter, in place of that of an oblate primary; and
    which ellipse comes with a change of the mean motion, whatever the size of the impulse that makes both."""
    rates = np.array([orbit.apsidal_rad_s for orbit in orbits])
    middle = float(np.median(rates))
    scatter = float(np.sqrt(np.mean((rates - middle) ** 2)))
    known = replace(expected, apsidal_rad_s=middle, apsidal_sigma_rad_s=max(scatter, LEAST_SHARE * abs(middle)))
    names = ("rate_before", "rate_after", "h_after", "k_after")
    before, after, *ellipse = (np.array([orbit.values[name] for orbit in orbits]) for name in names)
    change = after / before - 1.0
    size = float(np.sqrt(np.mean(change**2)))
    if size < LEAST_CHANGE:
        return known
    h, k = (float(one @ change / (change @ change)) for one in ellipse)
    left = np.array([ellipse[0] - h * change, ellipse[1] - k * change])
    sigma = max(float(np.sqrt(np.mean(left**2))), ASIDE * 2.0 / 3.0 * size)
    return replace(known, ellipse=(h, k), eccentricity_sigma=sigma)
