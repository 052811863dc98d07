"""From the ground at the site to beta: where the ejecta go, how much momentum leaves with them, and how sure that is.

The ejecta leave in a thin cone about the axis E; of their summed speed the cosine of its half angle, which is the sine
of the launch angle, is left along E.  beta - 1 = -P/(m U.E) with P the momentum that escapes along E, so that
M2 dv = m U + m (beta - 1) (E.U) E holds however E is tilted.  What is faster than the secondary's escape speed at the
site counts for the mutual orbit; what leaves the system, for the barycentre (departure.py).

Oblique hits: the speed along the normal, U cos i, drives the ejecta; or the whole speed does, and P is what a vertical
hit gives, times cos i: beta along the normal is then that of a vertical impact (after Raducan, Davison & Collins 2022,
Icarus 374, 114793, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..columns import length
from ..constants import G
from ..kinds import sure, takes
from ..motion.state import Body
from ..scenario import Impactor, MomentumTransfer, Sampling
from ..scenario.draws import drawn
from .ejecta import Blow, Crater, GroundMaterial, Numbers

DRAWS = 2000
"""A quantile at one sigma is then good to 3 % of sigma."""
ACROSS_COSINE = 1e-6
"""Ejecta this nearly across the flight take up nothing of it along their axis: beta along it has no meaning."""
INPUTS = (
    "momentum_transfer.material.",
    "momentum_transfer.launch_angle_deg",
    "impactor.mass_kg",
    "impactor.speed_km_s",
    "impactor.density_kg_m3",
    "impactor.radius_m",
)
"""How the names of the quantities begin that beta at a fixed place depends on."""


@dataclass(frozen=True)
class Place:
    """What the site is for the ejecta: cosines of the flight's incidence and against E, gravity and escape speed, both
    of the secondary as a point mass.  Of one hit, or arrays (n,).
    """

    incidence_cosine: Numbers
    axis_cosine: Numbers
    gravity_m_s2: Numbers
    escape_speed_m_s: Numbers

    @classmethod
    def at(cls, mass_kg: Numbers, point_m: np.ndarray, incidence_deg: Numbers, axis_cosine: Numbers) -> Place:
        """At a point of the frame of a secondary of this mass; axis_cosine = -E.U/|U|."""
        height = length(point_m)
        well = G * mass_kg / height
        return cls(
            incidence_cosine=np.cos(np.radians(incidence_deg)),
            axis_cosine=axis_cosine,
            gravity_m_s2=well / height,
            escape_speed_m_s=np.sqrt(2.0 * well),
        )


@dataclass(frozen=True)
class Yield:
    """What leaves the crater: beta, masses launched and lost to the secondary; counted: the share of the summed
    momentum that counts, below 1 where an oblique impact is given what a vertical one throws out.
    beta_launched: of all that is thrown up."""

    crater: Crater
    beta: Numbers
    launched_kg: Numbers
    lost_kg: Numbers
    counted: Numbers
    beta_launched: Numbers


@dataclass(frozen=True)
class EjectaScaling:
    """beta from a material.  beta_low and beta_high hold the middle 68 % of its distribution.

    Masses: launched = captured (falls back on the secondary) + lost (leaves it).  cone_half_angle_deg: about E; its
    cosine is what is left of the summed momentum.  counted, beta_launched: as of Yield.
    """

    crater: Crater
    beta: float
    beta_low: float
    beta_high: float
    crater_radius_m: float
    crater_regime: str
    cone_half_angle_deg: float
    ejecta_mass_kg: float
    mass_lost_kg: float
    counted: float
    beta_launched: float
    warnings: tuple[str, ...]

    @property
    def mass_captured_kg(self) -> float:
        """What falls back on the secondary."""
        return self.ejecta_mass_kg - self.mass_lost_kg


def _leaving(
    ground: GroundMaterial, blow: Blow, place: Place, launch_angle_deg: Numbers, far_away: bool, oblique: str
) -> Yield:
    """Beta and masses; blow.speed_m_s is the whole speed of the impactor.  All numbers may be arrays (n,)."""
    driving = blow.speed_m_s * (place.incidence_cosine if oblique == "normal_component" else 1.0)
    counted = place.incidence_cosine if oblique == "vertical_beta" else 1.0
    kept = counted * np.sin(np.radians(launch_angle_deg)) / (blow.mass_kg * blow.speed_m_s * place.axis_cosine)
    crater = Crater.of(ground, Blow(blow.mass_kg, blow.radius_m, blow.density_kg_m3, driving, blow.gravity_m_s2))
    beta = 1.0 + kept * crater.momentum_kg_m_s(place.escape_speed_m_s, far_away)
    lost = crater.mass_within_kg(crater.reach_m(place.escape_speed_m_s))
    launched = 1.0 + kept * crater.momentum_kg_m_s(0.0)
    return Yield(crater, beta, crater.launched_kg, lost, counted, launched)


def scaled(
    moonlet: Body,
    place: Place,
    impactor: Impactor,
    transfer: MomentumTransfer,
    sampling: Sampling | None = None,
    counted: bool = False,
) -> EjectaScaling:
    """beta of a material at a place of the secondary, with its spread: of the scaling, and of what [sampling] gives.

    counted: whether the mass that leaves is taken from the secondary.
    """
    one = yielded(place, impactor, transfer, {})
    if sampling and any(name.startswith(INPUTS) for name in sampling.quantities):
        low, high = np.quantile(beta_draws(place, impactor, transfer, sampling), [0.158655, 0.841345])
    else:
        low, high = (1.0 + (one.beta - 1.0) * np.exp(sign * transfer.scaling_sigma) for sign in (-1.0, 1.0))
    return EjectaScaling(
        crater=one.crater,
        beta=float(one.beta),
        beta_low=float(low),
        beta_high=float(high),
        crater_radius_m=float(one.crater.radius_m),
        crater_regime="strength" if one.crater.by_strength else "gravity",
        cone_half_angle_deg=90.0 - transfer.launch_angle_deg,
        ejecta_mass_kg=float(one.launched_kg),
        mass_lost_kg=float(one.lost_kg),
        counted=float(one.counted),
        beta_launched=float(one.beta_launched),
        warnings=_warnings(moonlet, one, transfer, counted),
    )


@takes(place="Place", impactor="Impactor", transfer="MomentumTransfer")
def beta_draws(
    place: Place,
    impactor: Impactor,
    transfer: MomentumTransfer,
    sampling: Sampling | None = None,
    count: int = DRAWS,
    random: np.random.Generator | None = None,
) -> np.ndarray:
    """(count,) betas at a fixed place: ln(beta - 1) scatters by scaling_sigma, the inputs as [sampling] says.

    Inputs are INPUTS: the numbers of the material, launch_angle_deg, and the impactor's mass, speed and density or
    radius.  A million take about 3 s.  Draws outside a key's range are not refused; they are moved to its limit.
    """
    random = random or np.random.default_rng(sampling.seed if sampling else 0)
    inputs = drawn(sampling, INPUTS, count, random) if sampling else {}
    betas = yielded(place, impactor, transfer, inputs).beta
    return 1.0 + (betas - 1.0) * np.exp(transfer.scaling_sigma * random.standard_normal(count))


def yielded(place: Place, impactor: Impactor, transfer: MomentumTransfer, inputs: Mapping[str, np.ndarray]) -> Yield:
    """What leaves the crater, with numbers of the scenario replaced by arrays (n,), by their dotted names."""
    ground = GroundMaterial.of(sure(transfer.material))
    names = {name: f"momentum_transfer.material.{name}" for name in GroundMaterial.__dataclass_fields__}
    ground = GroundMaterial(**{name: inputs.get(dotted, getattr(ground, name)) for name, dotted in names.items()})
    mass = inputs.get("impactor.mass_kg", impactor.mass_kg)
    if impactor.radius_m is None:
        density = inputs.get("impactor.density_kg_m3", impactor.density_kg_m3)
        radius = (mass / (4.0 / 3.0 * np.pi * density)) ** (1.0 / 3.0)
    else:
        radius = inputs.get("impactor.radius_m", impactor.radius_m)
        density = mass / (4.0 / 3.0 * np.pi * radius**3)
    speed = 1e3 * inputs.get("impactor.speed_km_s", impactor.speed_km_s)
    return _leaving(
        ground,
        Blow(mass, radius, density, speed, place.gravity_m_s2),
        place,
        inputs.get("momentum_transfer.launch_angle_deg", transfer.launch_angle_deg),
        transfer.ejecta_speed == "far_away",
        transfer.oblique,
    )


def _warnings(body: Body, found: Yield, transfer: MomentumTransfer, counted: bool) -> tuple[str, ...]:
    """Where the scaling is outside its validity, and what it leaves out."""
    crater, material = found.crater, sure(transfer.material)
    size = (3.0 * body.volume_m3 / (4.0 * np.pi)) ** (1.0 / 3.0)
    said = []
    if crater.radius_m > 0.5 * size:
        said.append(
            f"the crater's radius of {crater.radius_m:.3g} m is more than half the secondary's mean radius of "
            f"{size:.3g} m: the scaling of ejecta is outside its validity, which is flat ground"
        )
    if crater.innermost_m >= crater.outermost_m:
        said.append("the crater is no larger than the impactor: no ejecta, outside the validity of the scaling")
    if material.sound_speed_m_s and crater.blow.speed_m_s < material.sound_speed_m_s:
        said.append(
            f"the ejecta are driven at {crater.blow.speed_m_s:.4g} m/s, below the sound speed in the ground of "
            f"{material.sound_speed_m_s:g} m/s: outside the validity of the scaling"
        )
    share = found.lost_kg / body.mass_kg
    if share > 1e-3 and not counted:
        said.append(
            f"the secondary loses {100.0 * share:.2g} % of its mass; that is neglected, the velocity change would be "
            f"as much larger; [mass_exchange] counts it"
        )
    return tuple(said)
