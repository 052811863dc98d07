"""How bright a pair is at many instants for many members of a fit: ellipsoids whole, and what mutual events take away.

Each member is a run's even samples, its bodies' axes and a turn of the lines of sight.  Whole bodies by
ellipsoid_light.py; only where the outlines may overlap are rays sent through the secondary's (taken_light.py).
Both scattering laws at once, so that a mixture of them costs nothing.  Neglected as in sky/light_curve.py: penumbra,
light from one body on the other, spots.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from .._jit import kernel
from ..sky.missing_light import disc_points
from .between_steps import COLUMNS, axes_at, between_samples
from .ellipsoid_light import GAUSS, ellipsoid_light
from .nodes import Nodes
from .taken_light import light_taken

RAYS = 64
"""Through the secondary's outline; in events of one with 4 % of the light they leave 0.3 mmag rms, 1.3 at most
(128: 0.2 and 0.8, at twice the time)."""


@dataclass(frozen=True)
class LitRuns:
    """n runs on one side of t0 and what is seen of them.

    samples (n, k, 20), states at start_s, start_s + step_s, .. (step_s < 0: backwards); semi-axes (n, 3), m; turns
    (n, 3, 3): of the lines of sight, so that a member's direction to the Sun is turn @ sunward.
    """

    samples: np.ndarray
    start_s: float
    step_s: float
    primary_m: np.ndarray
    secondary_m: np.ndarray
    turns: np.ndarray

    def __len__(self) -> int:
        return len(self.samples)

    def some(self, which: slice) -> LitRuns:
        """A part of them."""
        columns = (self.samples, self.primary_m, self.secondary_m, self.turns)
        samples, primary, secondary, turns = (column[which] for column in columns)
        return LitRuns(samples, self.start_s, self.step_s, primary, secondary, turns)


@dataclass(frozen=True)
class PairLight:
    """whole_m2, missing_m2 (n, m, 2, 2): of n members at m instants, by body and by law (Lommel-Seeliger, Lambert), at
    albedo 1: light without the other body, and how much of it the other one takes."""

    whole_m2: np.ndarray
    missing_m2: np.ndarray

    def flux(self, albedo_ratio: np.ndarray | float = 1.0) -> np.ndarray:
        """(n, m, 2) of both bodies, by law; albedo of the secondary over the primary's, one or (n,)."""
        left, ratio = self.whole_m2 - self.missing_m2, np.reshape(albedo_ratio, (-1, 1, 1))
        return left[:, :, 0] + ratio * left[:, :, 1]


def light_of_members(
    members: LitRuns, time_s: np.ndarray, sunward: np.ndarray, earthward: np.ndarray, workers: int = 1,
    rays: int = RAYS, node_s: float = 0.0,
) -> PairLight:  # fmt: skip
    """Light of n members at instants time_s (m,) within their samples, s from t0 at the system.

    sunward, earthward (m, 3): unit vectors in the frame of the runs; workers: threads; node_s: apart so far, the light
    of whole bodies is computed, and a polynomial laid between (nodes.py); 0: at every instant.
    """
    found = PairLight(np.zeros((len(members), len(time_s), 2, 2)), np.zeros((len(members), len(time_s), 2, 2)))
    lines, nodes = (np.ascontiguousarray(sunward), np.ascontiguousarray(earthward)), Nodes.of(time_s, node_s)
    at_nodes = nodes.time_s, *(nodes.lines(time_s, line) for line in lines), nodes.first, nodes.weight

    def fill(which: slice) -> None:
        part = members.some(which)
        told = (part.samples, part.start_s, part.step_s, part.primary_m, part.secondary_m, part.turns)
        _whole(*told, *at_nodes, GAUSS, found.whole_m2[which])
        _missing(*told, time_s, *lines, disc_points(rays), found.missing_m2[which])

    _shared_out(fill, len(members), workers)
    return found


def _shared_out(fill: Callable[[slice], None], count: int, workers: int) -> None:
    """Parts of the members on threads: kernels release the interpreter."""
    if workers == 1 or count == 1:
        fill(slice(None))
        return
    ends = np.linspace(0, count, min(workers, count) + 1).astype(int)
    with ThreadPoolExecutor(workers) as threads:
        list(threads.map(fill, [slice(a, b) for a, b in zip(ends[:-1], ends[1:], strict=True)]))


@kernel
def _whole(samples, start, step, semi1, semi2, turns, times, suns, seens, first, weights, gauss, whole):
    """Add to whole (n, m, 2, 2) what weights (m, 6) make of light at times (k,), from the first of six on."""
    axes1, axes2, value, rate = np.empty((3, 3)), np.empty((3, 3)), np.empty(COLUMNS), np.empty(3)
    flat1, flat2, sun, seen = axes1.reshape(9), axes2.reshape(9), np.empty(3), np.empty(3)
    there = np.empty((len(times), 2, 2))
    for n in range(len(samples)):
        for k in range(len(times)):
            between_samples(samples[n], step, times[k] - start, COLUMNS, value, rate)
            axes_at(value, 3, axes1)
            axes_at(value, 7, axes2)
            turned_line(turns[n], suns[k], sun)
            turned_line(turns[n], seens[k], seen)
            ellipsoid_light(flat1, semi1[n], sun, seen, gauss, there[k, 0])
            ellipsoid_light(flat2, semi2[n], sun, seen, gauss, there[k, 1])
        for m in range(len(first)):
            for i in range(weights.shape[1]):
                if weights[m, i] != 0.0:
                    for b in range(2):
                        for law in range(2):
                            whole[n, m, b, law] += weights[m, i] * there[first[m] + i, b, law]


@kernel
def _missing(samples, start, step, semi1, semi2, turns, times, suns, seens, disc, missing):
    """Add to missing (n, m, 2, 2) what events take at times (m,)."""
    axes1, axes2, value, rate = np.empty((3, 3)), np.empty((3, 3)), np.empty(COLUMNS), np.empty(3)
    sun, seen, room = np.empty(3), np.empty(3), np.empty(36)
    place = value[:3]
    for n in range(len(samples)):
        reach = max(semi1[n, 0], semi1[n, 1], semi1[n, 2]) + 1.5 * max(semi2[n, 0], semi2[n, 1], semi2[n, 2])
        for m in range(len(times)):
            turned_line(turns[n], suns[m], sun)
            turned_line(turns[n], seens[m], seen)
            between_samples(samples[n], step, times[m] - start, 3, value, rate)
            eclipse, occultation = away(place, sun) < reach, away(place, seen) < reach
            if not (eclipse or occultation):
                continue
            between_samples(samples[n], step, times[m] - start, COLUMNS, value, rate)
            axes_at(value, 3, axes1)
            axes_at(value, 7, axes2)
            for happens, line, other, eclipses in ((eclipse, sun, seen, True), (occultation, seen, sun, False)):
                if happens:
                    light_taken(
                        place, axes1, axes2, semi1[n], semi2[n], line, other, eclipses, disc, room, missing[n, m]
                    )  # fmt: skip


@kernel
def turned_line(turn, line, found):
    """Fill found (3,) with turn (3, 3) @ line (3,)."""
    for i in range(3):
        found[i] = turn[i, 0] * line[0] + turn[i, 1] * line[1] + turn[i, 2] * line[2]


@kernel
def away(place, line):
    """Distance (m) of a place (3,) from the line through the origin along a unit vector (3,)."""
    along = place[0] * line[0] + place[1] * line[1] + place[2] * line[2]
    x, y, z = place[0] - along * line[0], place[1] - along * line[1], place[2] - along * line[2]
    return math.sqrt(x * x + y * y + z * z)
