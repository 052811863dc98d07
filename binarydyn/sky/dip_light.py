"""The light that is missing at given instants of a run, and what there is without: between motion and kernels."""

from __future__ import annotations

import numpy as np

from .brightness import LitFacets, fluxes
from .dip_causes import ECLIPSE, OCCULTATION, Causes
from .geometry import Sight
from .missing_light import disc_points, light_of_ellipsoid, missing_of_ellipsoids, missing_of_meshes
from .motion_between import MotionBetween, Places

FACETS = 2000
"""Of an ellipsoid beside a mesh."""
_FAR_M = 1e9
_SHARES = ((1.0, 0.0), (0.0, 1.0))
"""Of Lommel-Seeliger and of Lambert in each column."""


class DimmedBodies:
    """Both bodies of a run as rays meet them; two ellipsoids exactly, else both as meshes."""

    def __init__(self, motion: MotionBetween, sight: Sight, rays: int):
        self.motion, self.sight, self.disc = motion, sight, disc_points(rays)
        self.meshed = any(figure.is_mesh for figure in motion.figures)
        self.bodies = [LitFacets.of(figure, FACETS) for figure in motion.figures] if self.meshed else []

    def missing(self, causes: Causes, time: np.ndarray) -> np.ndarray:
        """(n, k, 2) light that each of n dips misses at times (n, k), m2, by Lommel-Seeliger and by Lambert."""
        count, flat = time.shape[1], time.ravel()
        places, lines = self.motion.places(flat), (self.sight.sunward(flat), self.sight.earthward(flat))
        front = np.repeat(causes.front, count)
        found = np.zeros((len(flat), 2))
        for kind, line, other in ((ECLIPSE, *lines), (OCCULTATION, *lines[::-1])):
            here = np.repeat(causes.has(kind), count)
            part = np.zeros((int(here.sum()), 2))
            self._fill(_chosen(places, here), line[here], other[here], front[here], kind == ECLIPSE, part)
            found[here] += part
        return found.reshape(*time.shape, 2)

    def _fill(self, places: Places, line, other, front, unhidden: bool, part: np.ndarray) -> None:
        centres, axes = (places.centre1_m, places.centre2_m), (places.axes1, places.axes2)
        if not self.meshed:
            semi = (figure.semi_axes_m for figure in self.motion.figures)
            missing_of_ellipsoids(*centres, *axes, *semi, line, other, front, unhidden, self.disc, part)
            return
        names = ("vertices_m", "facets", "is_convex", "reach_m")
        told = (tuple(getattr(body, name) for body in self.bodies) for name in names)
        around = _enclosing_m(self.bodies[1].vertices_m)
        missing_of_meshes(centres, axes, *told, around, line, other, front, unhidden, self.disc, part)

    def undisturbed(self, time: np.ndarray) -> np.ndarray:
        """(n, 2) light of both bodies at times (n,) without any event, m2."""
        places, found = self.motion.places(time), np.zeros((len(time), 2))
        seen, sun = self.sight.earthward(time), self.sight.sunward(time)
        if self.meshed:
            return self._facet_light(places, sun, seen)
        for axes, figure in zip((places.axes1, places.axes2), self.motion.figures, strict=True):
            light_of_ellipsoid(axes, figure.semi_axes_m, seen, sun, self.disc, found)
        return found

    def _facet_light(self, places: Places, sun: np.ndarray, seen: np.ndarray) -> np.ndarray:
        """With the secondary far aside, so that neither body darkens the other."""
        aside = np.cross(sun, seen + [1e-9, 0.0, 0.0])
        aside *= _FAR_M / np.linalg.norm(aside, axis=1)[:, None]
        names = ("normals", "areas_m2", "points_m", "vertices_m", "facets", "semi_axes_m", "is_mesh", "is_convex")
        told = [tuple(getattr(body, name) for body in self.bodies) for name in (*names, "overlooked", "reach_m")]
        centres, axes = np.stack([places.centre1_m, aside]), np.stack([places.axes1, places.axes2])
        found = np.empty((2, len(sun), 2))
        for column, (seeliger, lambert) in zip(found, _SHARES, strict=True):
            fluxes(*told, centres, axes, sun, seen, seeliger, lambert, column)
        return found.sum(axis=2).T


def _chosen(places: Places, which: np.ndarray) -> Places:
    return Places(
        places.centre1_m[which],
        places.axes1[which],
        places.centre2_m[which],
        places.axes2[which],
        places.position_m[which],
    )


def _enclosing_m(vertices_m: np.ndarray) -> np.ndarray:
    """(3,) semi-axes of an ellipsoid about the origin that holds all vertices, in proportion to their extent."""
    extent = np.abs(vertices_m).max(axis=0)
    return extent * np.linalg.norm(vertices_m / extent, axis=1).max()
