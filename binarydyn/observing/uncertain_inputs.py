"""Which systems may be the observed one: what is uncertain in a scenario, drawn, with usual errors where it says none.

The members are those of a random sample (sampling/sample.py): number k depends on the seed and k alone, so that some of
them stand for what a fit does not know and others, never seen by it, for the truth.
"""

from __future__ import annotations

import math

import numpy as np

from ..sampling.members import DECIDE_THE_IMPACT
from ..sampling.sample import Sample
from ..scenario import Scenario
from ..scenario.variation import value_of

SIZE_SHARE, SEPARATION_SHARE, POLE_DEG = 0.03, 0.01, 0.3
"""One sigma of each semi-axis and of the separation, relative, and of the pole in each of two directions, where
[sampling] says nothing (common practice: light curves and radar)."""
IMPULSE_SHARE = 0.15
"""Of what the secondary receives, where [sampling] does not draw it: the impact is what is measured, so that it cannot
be known before."""
_IMPULSES = ("momentum_transfer.beta", "impactor.mass_kg", "velocity_change.along_track_mm_s")
_POLE = ("mutual_orbit.pole_longitude_deg", "mutual_orbit.pole_latitude_deg")
_BODIES = ("primary", "secondary")


def drawn_inputs(scenario: Scenario, count: int, first: int = 0) -> list[dict[str, float]]:
    """What members first .. first + count - 1 change in the scenario."""
    if not count:
        return []
    sampling = scenario.sampling
    keys = list(sampling.quantities) if sampling else []
    own = Sample.of(scenario, "random", first + count) if keys else None
    usual = _usual_keys(scenario, keys)
    seed = own.seed if own else 0
    scores = _scores(usual, first + count, seed)
    return [
        _usual_values(scenario, dict(zip(usual, scores[k].tolist(), strict=True))) | (own.member(k) if own else {})
        for k in range(first, first + count)
    ]


def usual_errors(scenario: Scenario) -> tuple[str, ...]:
    """A sentence on what is taken as uncertain beyond what the scenario says."""
    drawn = list(scenario.sampling.quantities) if scenario.sampling else []
    said = []
    if not drawn:
        said.append(
            f"semi-axes {100.0 * SIZE_SHARE:g} %, separation {100.0 * SEPARATION_SHARE:g} %, pole {POLE_DEG:g} deg"
        )
    if any(key in _IMPULSES for key in _usual_keys(scenario, drawn)):
        said.append(f"the momentum received {100.0 * IMPULSE_SHARE:g} %")
    if not said:
        return ()
    source = "[sampling] does not draw it" if drawn else "there is no [sampling]"
    return (f"{source}, so one sigma of what decides the dips is taken as: {', '.join(said)}",)


def usual_sigmas(scenario: Scenario) -> dict[str, float]:
    """One sigma of each key that is uncertain beside those of [sampling], in its unit; each of the pole's, deg across
    the sky."""
    keys = _usual_keys(scenario, list(scenario.sampling.quantities) if scenario.sampling else [])
    return {key: POLE_DEG if key in _POLE else _share(key) * value_of(scenario, key) for key in keys}


def _share(key: str) -> float:
    """One sigma, in parts of the value."""
    return IMPULSE_SHARE if key in _IMPULSES else SEPARATION_SHARE if "separation" in key else SIZE_SHARE


def _usual_keys(scenario: Scenario, drawn: list[str]) -> list[str]:
    """Of one score each, of what is drawn beside the keys of [sampling]."""
    keys = [] if drawn else [*_POLE, *_axes(scenario)]
    if not drawn and value_of(scenario, "mutual_orbit.separation_m") is not None:
        keys.append("mutual_orbit.separation_m")
    if not any(key.split(".")[0] in DECIDE_THE_IMPACT for key in drawn):
        keys += impulse_keys(scenario)
    return keys


def _axes(scenario: Scenario) -> list[str]:
    return [f"{body}.semi_axes_m.{i}" for body in _BODIES if getattr(scenario, body).semi_axes_m for i in range(3)]


def impulse_keys(scenario: Scenario) -> list[str]:
    """The key that scales what the secondary receives; none without an impact."""
    if scenario.kind_of_impact == "none":
        return []
    if scenario.velocity_change:
        return [_IMPULSES[2]]
    return [_IMPULSES[1 if scenario.momentum_transfer.material else 0]]


def _scores(keys: list[str], count: int, seed: int) -> np.ndarray:
    """(count, keys) standard normal, other ones than those of [sampling]."""
    if not keys:
        return np.empty((count, 0))
    quantities = tuple((key, "normal", (0.0, 1.0)) for key in keys)
    return Sample("random", quantities, (), count, (seed + 1) % 2**63).scores(0, count)


def _usual_values(scenario: Scenario, scores: dict[str, float]) -> dict[str, float]:
    """Values at normal scores by key; axes stay in their order."""
    values = _turned_pole(scenario, *(scores.get(key, 0.0) for key in _POLE)) if _POLE[0] in scores else {}
    for body in _BODIES:
        axes = [key for key in scores if key.startswith(f"{body}.semi_axes_m")]
        drawn = [
            getattr(scenario, body).semi_axes_m[i] * (1.0 + _share(key) * scores[key]) for i, key in enumerate(axes)
        ]
        values |= dict(zip(axes, sorted(drawn, reverse=True), strict=True))
    for key in ("mutual_orbit.separation_m", *_IMPULSES):
        if key in scores:
            values[key] = value_of(scenario, key) * max(1.0 + _share(key) * scores[key], 0.1)
    return values


def _turned_pole(scenario: Scenario, east: float, north: float) -> dict[str, float]:
    """The pole POLE_DEG times these scores away."""
    longitude, latitude = (math.radians(value_of(scenario, key)) for key in _POLE)
    a, b = (math.radians(POLE_DEG) * score for score in (east, north))
    flat, height = math.cos(latitude) - b * math.sin(latitude), math.sin(latitude) + b * math.cos(latitude)
    turned = math.degrees(longitude + math.atan2(a, flat)), math.degrees(math.atan2(height, math.hypot(flat, a)))
    return {_POLE[0]: math.remainder(turned[0], 360.0), _POLE[1]: turned[1]}
