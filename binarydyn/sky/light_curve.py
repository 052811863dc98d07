"""The light curve of a system: how bright both bodies are together, with shadows and occultations.

Sums over lit and visible facets (brightness.py) at instants of a run; times are at the system, s from t0, the light
arrives later by the light time.  Both bodies have the same surface but for their albedos.  Distances to the Sun and to
the observer are not in it (reduced magnitudes); the penumbra, light scattered from one body to the other, and surface
features are neglected.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..motion.trajectory import Trajectory
from .brightness import LitFacets, fluxes
from .geometry import Sight, Sky
from .motion_between import MotionBetween

DEFAULT_FACETS = 2000
LAWS: dict[str, tuple[float, float]] = {
    "lambert": (0.0, 1.0),
    "lommel_seeliger": (1.0, 0.0),
    "lommel_seeliger_lambert": (1.0, 0.1),
}
"""Shares of Lommel-Seeliger and of Lambert in S; 0.1 in the sum is customary (Kaasalainen et al. 2001)."""


def linear_exponential(phase_angle_rad: np.ndarray) -> np.ndarray:
    """f(alpha) = a exp(-alpha/d) + k alpha + 1 with a 0.5, d 0.1 rad, k -0.5 per rad.

    Kaasalainen, Torppa & Muinonen 2001, Icarus 153, 37, doi 10.1006/icar.2001.6674, and its customary numbers.
    Not for alpha beyond 2 rad, where it turns negative.
    """
    return 0.5 * np.exp(-phase_angle_rad / 0.1) - 0.5 * phase_angle_rad + 1.0


PHASE_LAWS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "none": np.ones_like,
    "linear_exponential": linear_exponential,
}


@dataclass(frozen=True)
class LightCurve:
    """time_s (m,) at the system; brightness_m2 (m, 2) of primary and secondary: sums of area x S x f, albedo 1."""

    time_s: np.ndarray
    light_time_s: np.ndarray
    phase_angle_deg: np.ndarray
    brightness_m2: np.ndarray
    albedos: tuple[float, float]

    @property
    def flux(self) -> np.ndarray:
        """(m,) of both together over its mean."""
        both = self.brightness_m2 @ np.array(self.albedos)
        return both / both.mean()

    @property
    def magnitude(self) -> np.ndarray:
        """(m,) -2.5 log10 of the flux: 0 at the mean flux."""
        return -2.5 * np.log10(self.flux)

    def noisy(self, sigma_mag: float, seed: int) -> np.ndarray:
        """(m,) magnitudes with independent normal errors of sigma_mag; the same seed gives the same."""
        if not (np.isfinite(sigma_mag) and sigma_mag >= 0.0):
            raise InputError("sigma_mag", f"{sigma_mag} is given, allowed is a number from 0; change it")
        return self.magnitude + sigma_mag * np.random.default_rng(seed).standard_normal(len(self.time_s))


def light_curve_of(
    trajectory: Trajectory,
    sky: Sky,
    time_s,
    law: str = "lommel_seeliger",
    phase_law: str = "none",
    facets: int = DEFAULT_FACETS,
    albedos: tuple[float, float] = (1.0, 1.0),
) -> LightCurve:
    """Brightness at instants (m,) within a run.

    law one of LAWS, phase_law one of PHASE_LAWS; facets of an ellipsoid (a mesh has its own).  Mutual events show with
    a grain of a third of a facet.  InputError for other names, times outside the run or albedos that are not positive.
    """
    seeliger, lambert = _chosen("law", law, LAWS)
    phase = _chosen("phase_law", phase_law, PHASE_LAWS)
    motion, time = MotionBetween(trajectory), np.atleast_1d(np.asarray(time_s, dtype=float))
    if not len(time) or not np.all((time >= motion.start_s) & (time <= motion.end_s)):
        raise InputError(
            "time_s", f"allowed are times within the run, {motion.start_s:g} .. {motion.end_s:g} s; give some of those"
        )
    if not (len(albedos) == 2 and all(np.isfinite(a) and a > 0.0 for a in albedos)):
        raise InputError("albedos", f"{albedos} are given, two numbers above 0 are allowed; change them")
    sight = Sight(sky, float(time.min()), max(float(time.max()), float(time.min()) + 1.0))
    sun, seen = sight.sunward(time), sight.earthward(time)
    places = motion.places(time)
    bodies = [LitFacets.of(figure, facets) for figure in motion.figures]
    found = np.empty((len(time), 2))
    fluxes(
        *(
            tuple(getattr(body, name) for body in bodies)
            for name in (
                "normals",
                "areas_m2",
                "points_m",
                "vertices_m",
                "facets",
                "semi_axes_m",
                "is_mesh",
                "is_convex",
                "overlooked",
                "reach_m",
            )  # fmt: skip
        ),
        np.stack([places.centre1_m, places.centre2_m]),
        np.stack([places.axes1, places.axes2]),
        sun,
        seen,
        seeliger,
        lambert,
        found,
    )
    angle = 2.0 * np.arcsin(np.clip(0.5 * np.linalg.norm(sun - seen, axis=1), 0.0, 1.0))
    return LightCurve(
        time,
        sight.light_time_s(time),
        np.degrees(angle),
        found * phase(angle)[:, None],
        (float(albedos[0]), float(albedos[1])),
    )


def _chosen(place: str, name: str, table: dict):
    if name not in table:
        raise InputError(place, f"{name!r} is given, allowed is {' or '.join(table)}; choose one of them")
    return table[name]
