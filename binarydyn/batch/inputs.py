"""What hundreds of members change in a scenario, as arrays, and which of them the schema might refuse.

A scenario of its own for each member costs a fifth of a millisecond, as much as its run.  Here the values are checked
against the same declarations of keys, and the rules that tie keys together with a margin: a member that might be
refused is for `scenario.varied`, which decides, and has the sentence.
"""

from __future__ import annotations

import math

import numpy as np

from ..constants import HOUR_S, G
from ..errors import InputError
from ..kinds import sure
from ..relaxed.asked import DECIDING, is_relaxed
from ..sampling.design import Design
from ..scenario import Scenario, varied
from ..scenario.ranges import are_in_range
from ..scenario.scenario import SPIN_ORBIT_GAP
from ..scenario.side_by_side import Varied
from ..scenario.tables.bodies import DENSITY_KG_M3, RATIOS
from ..scenario.variation import key_of, value_of
from .ellipsoids import Ellipsoids

_SHAPE = (*(f"semi_axes_m.{i}" for i in range(3)), *RATIOS)
_POLE = ("mutual_orbit.pole_longitude_deg", "mutual_orbit.pole_latitude_deg", "mutual_orbit.node_angle_deg")
OF_START = {f"{body}.{key}" for body in ("primary", "secondary") for key in (*_SHAPE, "density_kg_m3", "mass_kg")}
_OF_ORBIT = {"primary.spin_period_h", "primary.rotation_phase_deg", "mutual_orbit.separation_m"}
_OF_ORBIT |= {"mutual_orbit.period_h"}
OF_START |= _OF_ORBIT
_OF_HIT = ("impactor", "momentum_transfer", "velocity_change")
_MARGIN = 1e-9


class Inputs(Varied):
    """n members with what they vary."""

    @classmethod
    def of(cls, scenario: Scenario, design: Design, members: np.ndarray) -> Inputs:
        """Of members (n,) of a design, in any order."""
        order = np.argsort(members)
        back = np.argsort(order)
        columns = {name: values[back] for name, values in design.inputs(members[order]).items()}
        return cls(scenario, columns, len(members))

    def ellipsoids(self, body: str) -> Ellipsoids:
        """As stated, before calibration.  ValueError where axes are not in order."""
        axes = self.semi_axes_m(body)
        if self.has(f"{body}.density_kg_m3"):
            return Ellipsoids(axes, self[f"{body}.density_kg_m3"])
        return Ellipsoids(axes, self[f"{body}.mass_kg"] / (4.0 / 3.0 * np.pi * axes[0] * axes[1] * axes[2]))


def structure_is_allowed(scenario: Scenario, design: Design) -> bool:
    """Whether these keys may be varied together at all, seen with the values that the scenario has."""
    try:
        varied(scenario, {key: float(value_of(scenario, key)) for key in design.keys})
    except InputError:
        return False
    return True


def shares_start(design: Design) -> bool:
    """Whether all members have the start of the scenario itself."""
    return not any(key.split(".")[0] in DECIDING and key not in _POLE for key in design.keys)


def is_plain(scenario: Scenario, body: str) -> bool:
    """Whether `primary` or `secondary` is an ellipsoid without inclusions."""
    table = getattr(scenario, body)
    return bool(table.semi_axes_m and not table.inclusions)


def starts_side_by_side(scenario: Scenario, design: Design) -> bool:
    """Whether all members relax as arrays.

    That is: plain ellipsoids, or bodies of which nothing varies but spin and phase, of a given degree, without modes
    set on purpose.
    """
    of_bodies = {key.split(".")[0] for key in design.keys if key in OF_START and key not in _OF_ORBIT}
    return (
        set(design.keys) <= OF_START | {key for key in design.keys if key.split(".")[0] in _OF_HIT}
        and all(is_plain(scenario, body) for body in of_bodies)
        and scenario.simulation.degree != "auto"
        and is_relaxed(scenario)
    )


def hits_side_by_side(scenario: Scenario, design: Design) -> bool:
    """Whether all impacts are worked out as arrays: a velocity change, or an impactor on a plain ellipsoid without
    boulders; neither with new shapes nor with other masses."""
    if scenario.boulders or scenario.reshaping or scenario.mass_exchange:
        return False
    if not scenario.impactor:
        return True
    if scenario.impactor.target != "secondary":
        return False
    directions = (scenario.impactor.direction, scenario.momentum_transfer.ejecta_direction)
    on_sky = any(direction and direction.frame == "ecliptic" for direction in directions)
    turned = any(key in _POLE or ".ecliptic_" in key for key in design.keys)
    return is_plain(scenario, "secondary") and not (on_sky and turned)


def doubtful(inputs: Inputs) -> np.ndarray:
    """(n,) members that the schema might refuse."""
    known, found = inputs.scenario.known_keys(), np.zeros(inputs.count, dtype=bool)
    with np.errstate(all="ignore"):
        for name, values in inputs.columns.items():
            found |= ~are_in_range(values, key_of(name, known).facts)
        if any(name.split(".")[0] not in _OF_HIT for name in inputs.columns):
            found |= _doubtful_pair(inputs)
        if inputs.scenario.impactor:
            found |= _doubtful_impactor(inputs)
    return found


def _outside(values: np.ndarray, low: float, high: float) -> np.ndarray:
    return ~((values > low * (1.0 + _MARGIN)) & (values < high * (1.0 - _MARGIN)))


def _doubtful_pair(inputs: Inputs) -> np.ndarray:
    """Rules of the two bodies and their orbit (scenario/tables/bodies.py, scenario/scenario.py)."""
    found, masses, volumes = np.zeros(inputs.count, dtype=bool), [], []
    separation, period = inputs["mutual_orbit.separation_m"], inputs["mutual_orbit.period_h"]
    longest = np.zeros(inputs.count)
    for body in ("primary", "secondary"):
        if not getattr(inputs.scenario, body).semi_axes_m:
            continue
        a, b, c = inputs.semi_axes_m(body)
        volumes.append(4.0 / 3.0 * np.pi * a * b * c)
        given = inputs.has(f"{body}.density_kg_m3")
        masses.append(inputs[f"{body}.density_kg_m3"] * volumes[-1] if given else inputs[f"{body}.mass_kg"])
        found |= ~((a >= b) & (b >= c))
        if not given:
            found |= _outside(masses[-1] / volumes[-1], *DENSITY_KG_M3)
        longest = longest + a
    if inputs.has("mutual_orbit.period_h"):
        gap = np.abs(period / inputs["primary.spin_period_h"] - 1.0)
        found |= ~(gap > SPIN_ORBIT_GAP + _MARGIN)
        found |= ~(inputs.scenario.simulation.sample_minutes < period * 15.0 * (1.0 - _MARGIN))
    if inputs.has("mutual_orbit.separation_m"):
        found |= ~(separation * (1.0 - inputs["mutual_orbit.eccentricity"]) > longest * (1.0 + _MARGIN))
    if len(volumes) == 2 and inputs.has("mutual_orbit.period_h") and inputs.has("mutual_orbit.separation_m"):
        mass = (2.0 * math.pi / (period * HOUR_S)) ** 2 * separation**3 / G
        for own, volume in zip(masses, volumes, strict=True):
            found |= _outside(mass * own / (masses[0] + masses[1]) / volume, *DENSITY_KG_M3)
    return found


def _doubtful_impactor(inputs: Inputs) -> np.ndarray:
    """A ball of no real density, a direction to nowhere."""
    found = np.zeros(inputs.count, dtype=bool)
    if inputs.has("impactor.radius_m"):
        volume = 4.0 / 3.0 * np.pi * inputs["impactor.radius_m"] ** 3
        found |= _outside(inputs["impactor.mass_kg"] / volume, 1.0, 25000.0)
    for name, parts in directions_of(inputs.scenario):
        square = sum(inputs[f"{name}.{part}"] ** 2 for part in parts)
        found |= ~(square > 2e-12)
    return found


def directions_of(scenario: Scenario) -> list[tuple[str, tuple[str, ...]]]:
    """Names of the directions that are given by components, and of these."""
    given = [
        ("impactor.direction", sure(scenario.impactor).direction),
        ("momentum_transfer.ejecta_direction", scenario.momentum_transfer.ejecta_direction),
    ]
    return [(name, each.parts) for name, each in given if each and each.frame != "ecliptic"]
