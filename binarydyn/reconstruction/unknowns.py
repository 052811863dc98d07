"""What is not known of an observed system, and what was known of it before its data: names, values, priors.

Guesses are numbers u, one for each unknown: standard normal scores where there is a prior, else counts of a scale that
moves event times by seconds.  A guess may set a number of the scenario (its dotted key), turn the lines of sight
(pole_x, pole_y, phase: small turns about the axes of the inertial frame, rad), or move the relaxed state along a free
mode: e_cos, e_sin, the eccentricity times cosine and sine of the angle from the secondary at t0 forward to the
pericentre; lib_cos, lib_sin, the amplitude of the yaw, rad, times cosine and sine of its phase at t0.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError
from ..observing.uncertain_inputs import POLE_DEG, impulse_keys, usual_sigmas
from ..relaxed.asked import is_relaxed
from ..scenario import Distribution, Scenario
from ..scenario.variation import value_of

TURNS = ("pole_x", "pole_y", "phase")
FREE_MODES = ("e_cos", "e_sin", "lib_cos", "lib_sin")
PERIOD = "mutual_orbit.period_h"
POLE_KEYS = ("mutual_orbit.pole_longitude_deg", "mutual_orbit.pole_latitude_deg", "mutual_orbit.node_angle_deg")
ECCENTRICITY_SIGMA = 0.01
"""One sigma of e_cos and of e_sin where [sampling] does not draw the eccentricity: as much as published orbits before
an impact leave (bounds of 0.03 at three sigmas are common, from memory)."""
LIBRATION_SIGMA_RAD = math.radians(3.0)
"""One sigma of lib_cos and of lib_sin where they are asked for."""
_PERIOD_SCALE_H, _PHASE_SCALE_RAD, _IMPULSE_SCALE = 1e-4, 2e-3, 0.01
_ECCENTRICITY, _LIBRATION = "mutual_orbit.eccentricity", "secondary.libration_amplitude_deg"
_PUSHES = tuple(f"velocity_change.{name}_mm_s" for name in ("along_track", "radial", "normal"))


@dataclass(frozen=True)
class Unknown:
    """One of them: value = centre + scale u, or that of a distribution at the score u; prior_sigma, in the unit of the
    value, of a normal prior about the centre, inf: flat.  smooth: event times are nearly linear in it."""

    name: str
    centre: float
    scale: float
    prior_sigma: float = math.inf
    smooth: bool = False
    distribution: Distribution | None = None

    @classmethod
    def normal(cls, name: str, centre: float, sigma: float, smooth: bool = False) -> Unknown:
        """With a prior, its sigma as scale."""
        return cls(name, centre, sigma, sigma, smooth)

    @classmethod
    def drawn(cls, name: str, distribution: Distribution, smooth: bool = False) -> Unknown:
        """With a distribution as prior; the scale is its slope in the middle."""
        low, centre, high = distribution.at_scores(np.array([-1e-3, 0.0, 1e-3])).tolist()
        scale = (high - low) / 2e-3
        return cls(name, centre, scale, scale, smooth, distribution)

    def at(self, u: np.ndarray) -> np.ndarray:
        """Values of guesses (n,)."""
        return self.distribution.at_scores(u) if self.distribution else self.centre + self.scale * u


@dataclass(frozen=True)
class Unknowns:
    """p of them; mixing (p, p): scores are mixing @ u, so that correlated priors come from independent u."""

    each: tuple[Unknown, ...]
    mixing: np.ndarray

    @classmethod
    def listed(cls, each: Sequence[Unknown]) -> Unknowns:
        """Independent ones."""
        return cls(tuple(each), np.eye(len(each)))

    @classmethod
    def of(cls, scenario: Scenario, libration: bool = False, beta_prior: bool = False) -> Unknowns:
        """Of a scenario: mean period before t0, longitude at t0, what the secondary receives, pole and eccentricity
        before t0, and the quantities of [sampling]; sizes, separation and pole with usual errors where there is none.

        libration: a free one before t0 too.  beta_prior: what is received has the prior of [sampling], where it is
        drawn; else it is flat.  InputError where there is no impact, or where the period is what calibration finds.
        """
        _check(scenario)
        sampling = scenario.sampling.quantities if scenario.sampling else {}
        drawn = {key: Unknown.drawn(key, prior, key in (PERIOD, *POLE_KEYS)) for key, prior in sampling.items()}
        drawn = {key: one for key, one in drawn.items() if key not in (_ECCENTRICITY, _LIBRATION)}
        found = {one.name: one for one in (*_orbit(scenario), *_impulse(scenario))}
        kept = {key: replace(one, smooth=True) for key, one in drawn.items() if beta_prior or key == PERIOD}
        found |= {key: one for key, one in kept.items() if key in found}
        found |= {one.name: one for one in (*_pole(scenario), *_modes(scenario, libration), *_sizes(scenario))}
        found |= {key: one for key, one in drawn.items() if key not in found}
        each = tuple(sorted(found.values(), key=lambda one: not one.smooth))
        return cls(each, _mixing(scenario, each))

    def without(self, *names: str) -> Unknowns:
        """The same but for some, which stay at the scenario's values; those that are left are independent."""
        return Unknowns.listed([one for one in self.each if one.name not in names])

    @property
    def names(self) -> tuple[str, ...]:
        """Of each."""
        return tuple(one.name for one in self.each)

    @property
    def centre(self) -> np.ndarray:
        """(p,) values at u = 0."""
        return np.array([one.centre for one in self.each])

    @property
    def scale(self) -> np.ndarray:
        """(p,) by how much a value moves with its score, at u = 0."""
        return np.array([one.scale for one in self.each])

    @property
    def prior_sigma_u(self) -> np.ndarray:
        """(p,) sigma of the normal prior of u, whose mean is 0; inf: flat."""
        return np.array([one.prior_sigma / one.scale for one in self.each])

    @property
    def smooth(self) -> np.ndarray:
        """(p,) whether event times are nearly linear in it."""
        return np.array([one.smooth for one in self.each])

    def value(self, u: np.ndarray) -> np.ndarray:
        """(n, p) values of guesses (n, p)."""
        scores = np.atleast_2d(u) @ self.mixing.T
        return np.column_stack([one.at(z) for one, z in zip(self.each, scores.T, strict=True)])

    def index(self, name: str) -> int:
        """Its place; ValueError for one that is not unknown."""
        return self.names.index(name)

    def column(self, values: np.ndarray, name: str) -> np.ndarray:
        """(n,) of values (n, p); 0 where it is not unknown."""
        return values[:, self.index(name)] if name in self.names else np.zeros(len(values))


def _check(scenario: Scenario) -> None:
    if scenario.kind_of_impact == "none":
        raise InputError(
            f"{scenario.place}:impactor", "no impact is given, what happened needs one; add [impactor] or a "
            "[velocity_change]",
        )  # fmt: skip
    if value_of(scenario, PERIOD) is None:
        raise InputError(
            f"{scenario.place}:mutual_orbit.solve_for",
            '"period" is given, but event times measure the period; give period_h and another solve_for',
        )


def _orbit(scenario: Scenario) -> list[Unknown]:
    """What event times before t0 tell."""
    period = Unknown(PERIOD, value_of(scenario, PERIOD), _PERIOD_SCALE_H, smooth=True)
    return [period, Unknown("phase", 0.0, _PHASE_SCALE_RAD, smooth=True)]


def _impulse(scenario: Scenario) -> list[Unknown]:
    """What the secondary receives; of a velocity change its other components, as large as that along the track."""
    found = []
    for key in impulse_keys(scenario):
        value = value_of(scenario, key)
        found.append(Unknown(key, value, _IMPULSE_SCALE * abs(value), smooth=True))
    if scenario.velocity_change:
        size = math.hypot(*(value_of(scenario, key) for key in _PUSHES))
        found = [replace(one, scale=_IMPULSE_SCALE * size) for one in found]
        found += [
            Unknown(key, value_of(scenario, key), _IMPULSE_SCALE * size, size, smooth=True) for key in _PUSHES[1:]
        ]
    return found


def _pole(scenario: Scenario) -> list[Unknown]:
    """Two turns of the lines of sight where [sampling] says nothing."""
    if POLE_KEYS[0] not in usual_sigmas(scenario):
        return []
    return [Unknown.normal(name, 0.0, math.radians(POLE_DEG), smooth=True) for name in TURNS[:2]]


def _modes(scenario: Scenario, libration: bool) -> list[Unknown]:
    """Free modes about what the scenario says of them."""
    orbit, secondary = scenario.mutual_orbit, scenario.secondary
    sampling = scenario.sampling.quantities if scenario.sampling else {}
    sigma = _component(sampling[_ECCENTRICITY]) if _ECCENTRICITY in sampling else ECCENTRICITY_SIGMA
    found = _cosine_and_sine("e", orbit.eccentricity, orbit.pericentre_deg, sigma)
    if libration or _LIBRATION in sampling or secondary.libration_amplitude_deg:
        amplitude = math.radians(secondary.libration_amplitude_deg)
        sigma = math.radians(_component(sampling[_LIBRATION])) if _LIBRATION in sampling else LIBRATION_SIGMA_RAD
        found += _cosine_and_sine("lib", amplitude, secondary.libration_phase_deg, sigma)
    return found


def _cosine_and_sine(name: str, size: float, angle_deg: float, sigma: float) -> list[Unknown]:
    angle = math.radians(angle_deg)
    parts = {f"{name}_cos": size * math.cos(angle), f"{name}_sin": size * math.sin(angle)}
    return [Unknown.normal(part, value, sigma, smooth=True) for part, value in parts.items()]


def _component(distribution: Distribution) -> float:
    """One sigma of each of two components whose size has this distribution, at any angle: its rms over sqrt 2."""
    middle = (np.arange(200) + 0.5) / 200.0
    from scipy.special import ndtri

    return float(np.sqrt(0.5 * np.mean(distribution.at_scores(ndtri(middle)) ** 2)))


def _sizes(scenario: Scenario) -> list[Unknown]:
    """Shapes and separation where [sampling] says nothing."""
    known = {*impulse_keys(scenario), *POLE_KEYS}
    sigmas = {key: sigma for key, sigma in usual_sigmas(scenario).items() if key not in known}
    return [Unknown.normal(key, value_of(scenario, key), sigma) for key, sigma in sigmas.items()]


def _mixing(scenario: Scenario, each: Sequence[Unknown]) -> np.ndarray:
    """(p, p) lower triangle whose product with its transpose is the correlation of the scores."""
    matrix = np.eye(len(each))
    if scenario.sampling and scenario.sampling.correlations:
        keys, told = list(scenario.sampling.quantities), np.array(scenario.sampling.correlation_matrix)
        here = [i for i, one in enumerate(each) if one.distribution]
        there = [keys.index(each[i].name) for i in here]
        matrix[np.ix_(here, here)] = told[np.ix_(there, there)]
    return np.linalg.cholesky(matrix)


def relaxed_base(scenario: Scenario) -> Scenario:
    """The scenario without the free modes that it asks for: they are unknowns."""
    if is_relaxed(scenario):
        return scenario
    return scenario.replace({"mutual_orbit.eccentricity": 0.0, "secondary.libration_amplitude_deg": 0.0})
