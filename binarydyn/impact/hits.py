"""What impactors do to pairs, of one or of hundreds side by side: flight, site, axis of the ejecta, beta and velocity
change.

By equation 1 of momentum.py, on vectors (3, n), one column a system.  What is not here happens one by one: boulders and
new shapes (apply.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ..columns import angle_deg, dot, turned, turned_back
from ..motion.layout import ATTITUDE1, ATTITUDE2, POSITION, VELOCITY
from ..scenario.side_by_side import Varied
from ..vectors import rotation
from .footprint import normal_radius_m
from .frame import aim_axes, axes_of, directions_in_space, outward, tilted
from .momentum import ejecta_momentum, with_momentum
from .site import BEHIND, Sites, are_behind, longitude_latitude_deg, sites_by_aim, sites_by_coordinates
from .transfer import ACROSS_COSINE, Place, Yield, yielded


@dataclass(frozen=True)
class Arrivals:
    """n impactors at the ground: orbit axes and the secondaries' axes (3, 3, n), both to inertial, as of frame.py and
    of `rotation`; flight (3, n) unit, inertial; sites in the secondaries' frames.

    unsure (n,): whether the primary is in the way is not known here.
    """

    given: Varied
    axes: np.ndarray
    to_inertial: np.ndarray
    flight: np.ndarray
    sites: Sites
    unsure: np.ndarray

    @cached_property
    def incidence_deg(self) -> np.ndarray:
        """(n,) between the way back and the normal."""
        return angle_deg(self.sites.normal, -turned_back(self.to_inertial, self.flight))

    @cached_property
    def grazing(self) -> np.ndarray:
        """(n,) whether it may skip off: it then brings its own momentum and throws nothing back."""
        return self.sites.met & (self.incidence_deg > self.given["impactor.grazing_deg"])

    @cached_property
    def normal(self) -> np.ndarray:
        """(3, n) outward, inertial."""
        return turned(self.to_inertial, self.sites.normal)

    @cached_property
    def ejecta(self) -> np.ndarray:
        """(3, n) E, inertial: the axis along which beta acts.  By default the outward normal of the ground, which may
        be tilted; a named direction, or its opposite that leaves the ground, since a material's ejecta have a sign."""
        if self.given.stated("momentum_transfer.ejecta_direction"):
            named = directions_in_space(self.given, "momentum_transfer.ejecta_direction", self.axes)
            return outward(named, self.normal)
        tilt = self.given.vector("momentum_transfer", "ejecta_tilt_deg", "ejecta_tilt_azimuth_deg")
        return tilted(self.normal, self.flight, self.to_inertial, *tilt)

    @cached_property
    def across(self) -> np.ndarray:
        """(n,) whether a material's ejecta leave across the flight, so that beta has no meaning."""
        has_material = self.given.stated("momentum_transfer.material") is not None
        return has_material & (np.abs(dot(self.ejecta, self.flight)) < ACROSS_COSINE)

    @cached_property
    def brought_kg_m_s(self) -> np.ndarray:
        """(3, n) m U of the impactors, inertial."""
        return self.given["impactor.mass_kg"] * 1e3 * self.given["impactor.speed_km_s"] * self.flight

    def beta(self, mass_kg: float | np.ndarray) -> np.ndarray:
        """(n,) along E, as given or from the ground's material, on secondaries of these masses; 1 where it grazes."""
        transfer = self.given.stated("momentum_transfer")
        if not transfer.material:
            return np.where(self.grazing, 1.0, self.given["momentum_transfer.beta"])
        return np.where(self.grazing, 1.0, self.yields(mass_kg).beta)

    def yields(self, mass_kg: float | np.ndarray) -> Yield:
        """(n,) what the ground's material throws out of secondaries of these masses."""
        place = Place.at(mass_kg, self.sites.point_m, self.incidence_deg, -dot(self.ejecta, self.flight))
        impactor, transfer = (self.given.stated(name) for name in ("impactor", "momentum_transfer"))
        return yielded(place, impactor, transfer, self.given.columns)

    def received_kg_m_s(self, beta: np.ndarray) -> np.ndarray:
        """(3, n) what the secondaries receive, inertial."""
        brought = self.brought_kg_m_s
        return np.where(self.sites.met, brought - ejecta_momentum(brought, beta, self.ejecta), 0.0)


def arrivals(given: Varied, primary: Any, secondary: Any, y: np.ndarray) -> Arrivals:
    """Of impactors on pairs in states y (20, n), or (20, 1) for all; one body each, or arrays of them."""
    axes, to_inertial, to_primary = axes_of(y[POSITION], y[VELOCITY]), rotation(y[ATTITUDE2]), rotation(y[ATTITUDE1])
    flight = directions_in_space(given, "impactor.direction", axes)
    sites = _sites(given, secondary, axes, flight, to_inertial)
    point = np.where(sites.met, sites.point_m, 0.0)
    place = turned_back(to_primary, y[POSITION] + turned(to_inertial, point))
    behind, unsure = are_behind(primary, place, turned_back(to_primary, flight))
    return Arrivals(given, axes, to_inertial, flight, sites.missed(behind, lambda i: BEHIND), sites.met & unsure)


def _sites(given: Varied, secondary: Any, axes: np.ndarray, flight: np.ndarray, to_inertial: np.ndarray) -> Sites:
    """Where the lines of flight end on the secondaries, as if they stood alone."""
    impactor, inside = given.stated("impactor"), turned_back(to_inertial, flight)
    radius = normal_radius_m(secondary, impactor, given.stated("momentum_transfer"))
    if impactor.site:
        longitude, latitude = given.vector("impactor.site", "longitude_deg", "latitude_deg")
        return sites_by_coordinates(secondary, inside, longitude, latitude, radius)
    (u, v), plane = given.vector("impactor.aim_offset_m", 0, 1), aim_axes(axes, flight)
    return sites_by_aim(secondary, inside, turned_back(to_inertial, u * plane[0] + v * plane[1]), radius)


PUSH = ("along_track_mm_s", "radial_mm_s", "normal_mm_s")
NOTHING = "neither an impactor nor a velocity change is given"


def grazing_reason(point_m: np.ndarray, incidence_deg: float, grazing_deg: float) -> str:
    """Where, how nearly along the ground, and what is made of it."""
    longitude, latitude = longitude_latitude_deg(point_m)
    return (
        f"grazing hit at longitude {longitude:.2f}, latitude {latitude:.2f} deg, {incidence_deg:.1f} deg from "
        f"the normal, beyond grazing_deg = {grazing_deg:g}: the impactor may skip off; the velocity change is that of "
        f"one that "
        "stays, without ejecta"
    )


@dataclass(frozen=True)
class Hits:
    """What n impacts did: the states after (20, n), velocity changes (3, n) along-track, radial, normal, and (n,) the
    rest.

    status as of an Impact, with its reason where the orbit is not pushed by an impact or a velocity change.  unsure:
    pairs for which `impact_on` is to decide.  beta, incidence_deg: nan without an impact.
    """

    y: np.ndarray
    dv_mm_s: np.ndarray
    beta: np.ndarray
    incidence_deg: np.ndarray
    status: np.ndarray
    reason: np.ndarray
    unsure: np.ndarray


def hits(given: Varied, primary: Any, secondary: Any, y: np.ndarray) -> Hits:
    """The impacts on pairs in states y (20, n), of bodies as arrays; a velocity change asks nothing of them.

    Boulders and new shapes are not in it, nor warnings and books.
    """
    with np.errstate(all="ignore"):
        return _hit(given, primary, secondary, y) if given.stated("impactor") else _pushed(given, y)


def _pushed(given: Varied, y: np.ndarray) -> Hits:
    word, why = ("velocity_change", "") if given.stated("velocity_change") else ("none", NOTHING)
    dv = given.vector("velocity_change", *PUSH) if word == "velocity_change" else np.zeros((3, given.count))
    after = y.copy()
    after[VELOCITY] += 1e-3 * turned_back(axes_of(y[POSITION], y[VELOCITY]), dv)
    status, reason = (np.full(given.count, text, dtype=object) for text in (word, why))
    nothing = np.full(given.count, np.nan)
    return Hits(after, dv, nothing, nothing, status, reason, np.zeros(given.count, dtype=bool))


def _hit(given: Varied, primary: Any, secondary: Any, y: np.ndarray) -> Hits:
    found = arrivals(given, primary, secondary, y)
    met, grazing = found.sites.met, found.grazing
    beta = found.beta(secondary.mass_kg)
    received = found.received_kg_m_s(beta)
    status, reason = np.where(met, np.where(grazing, "grazing", "hit"), "miss").astype(object), found.sites.why
    for i in np.flatnonzero(grazing).tolist():
        limit = given["impactor.grazing_deg"][i]
        reason[i] = grazing_reason(found.sites.point_m[:, i], found.incidence_deg[i], limit)
    return Hits(
        with_momentum(secondary, y, received, np.where(met, found.sites.point_m, 0.0)),
        1e3 * turned(found.axes, received / secondary.mass_kg),
        np.where(met, beta, np.nan),
        np.where(met, found.incidence_deg, np.nan),
        status,
        reason,
        found.unsure | (found.across & met & ~grazing),
    )
