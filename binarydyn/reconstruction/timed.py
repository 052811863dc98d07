"""What was timed of measured events, in given runs: contacts of outlines, and the middles of dips of light.

The light that is missing is summed by strips (dimming.py).  An eclipse during which the nominal system shows an
occultation of the same body is timed as one dip of both, in every run.  Two ellipsoids; the Sun is a point in the light
that is missing.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..batch.ellipsoids import Ellipsoids
from ..batch.starts import Bodies
from ..errors import InputError
from ..sampling.members import cores
from ..sky.dip_causes import BOTH, ECLIPSE
from ..sky.dip_middles import centroid, folded, half_depth, minimum
from ..sky.event_search import BODIES, KINDS
from ..sky.geometry import Sight
from ..timing.mid_times import DEFINITIONS, MidTimes
from .dimming import strips
from .passages import contacts, missing
from .runs import Runs

STRIPS, POINTS, EPOCHS = 10, 6, 21
"""Across the secondary's outline, along each strip, from contact 1 to 4; twice as many instants for what is told from
single ones, as half depths are.  What they leave of a centroid, rms over drawn systems, s: 1.4 where eclipses are
alone, 1.3 where they overlap with occultations; of a half depth 1.7 and 1.6."""
_SLOPE_S = 600.0
"""Over which the turning of a line of sight is taken."""
_MIDDLES: dict[str, Callable] = dict(zip(DEFINITIONS, (centroid, half_depth, minimum, folded), strict=False))


@dataclass(frozen=True)
class Passing:
    """m events in n runs.  ends_s (n, m, 2, 2): contacts 1 and 4, s from t0, of the eclipse and of the occultation;
    gap_m (n, m, 2): smallest gap of the outlines, negative where they overlap; nan for what an event is not."""

    ends_s: np.ndarray
    gap_m: np.ndarray

    @cached_property
    def _here(self) -> np.ndarray:
        """(n, m, 2) what takes place; where nothing does, what would."""
        there = self.gap_m < 0.0
        return np.where(there.any(axis=2, keepdims=True), there, np.isfinite(self.gap_m))

    @property
    def first_s(self) -> np.ndarray:
        """(n, m) contact 1 of the whole."""
        return np.min(np.where(self._here, self.ends_s[..., 0], np.inf), axis=2)

    @property
    def last_s(self) -> np.ndarray:
        """(n, m) contact 4 of the whole."""
        return np.max(np.where(self._here, self.ends_s[..., 1], -np.inf), axis=2)

    @property
    def happens(self) -> np.ndarray:
        """(n, m) whether outlines overlap at all."""
        return np.any(self.gap_m < 0.0, axis=2)


@dataclass(frozen=True)
class TimedEvents:
    """m measured events.  time_s (m,): when, at the system.  merged (m,): which eclipses are timed with an occultation.

    sunlight: as of [observer], for contacts; workers: threads.
    """

    mids: MidTimes
    sight: Sight
    time_s: np.ndarray
    merged: np.ndarray
    sunlight: str = "point"
    workers: int | None = None
    strips: int = STRIPS
    points: int = POINTS
    epochs: int = EPOCHS

    def __len__(self) -> int:
        return len(self.time_s)

    @cached_property
    def lines(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Directions to the Sun and to the observer, their rates, both (2, m, 3), and the widening (2, m) of the
        penumbra."""
        time, sides = self.time_s, (self.sight.sunward, self.sight.earthward)
        lines = np.array([side(time) for side in sides])
        slopes = np.array([(side(time + _SLOPE_S) - side(time - _SLOPE_S)) / (2.0 * _SLOPE_S) for side in sides])
        sun = np.tan(self.sight.sun_radius_rad(time)) if self.sunlight == "disc" else np.zeros(len(time))
        return lines, slopes, np.array([sun, np.zeros(len(time))])

    @property
    def front(self) -> np.ndarray:
        """(m,) whether the secondary is in front."""
        return self.mids.body == BODIES[0]

    @property
    def by_light(self) -> np.ndarray:
        """(m,) whether a dip was timed, not contacts."""
        return self.mids.timed != DEFINITIONS[-1]

    @property
    def causes(self) -> np.ndarray:
        """(m, 2) whether each event is an eclipse, an occultation, or both."""
        both = (self.mids.kind == BOTH) | self.merged
        return np.column_stack([(self.mids.kind == kind) | both for kind in KINDS])

    def merged_in(self, runs: Runs) -> TimedEvents:
        """The same with those eclipses merged during which the first of the runs shows an occultation."""
        eclipses = (self.mids.kind == ECLIPSE) & self.by_light
        found = replace(self, merged=eclipses).passing(runs)
        (first, other), (last, another) = found.ends_s[0, :, :, 0].T, found.ends_s[0, :, :, 1].T
        happen = (found.gap_m[0] < 0.0).all(axis=1)
        return replace(self, merged=eclipses & happen & (first < another) & (other < last))

    def passing(self, runs: Runs) -> Passing:
        """Contacts in runs."""
        count, m = len(runs.why), len(self)
        found = Passing(np.full((count, m, 2, 2), np.nan), np.full((count, m, 2), np.nan))
        lines, slopes, widening = self.lines
        one, two = (plain_semi_axes_m(body) for body in (runs.starts.primary, runs.starts.secondary))

        def some(at: slice) -> None:
            contacts(
                runs.before.samples[at], runs.after.samples[at], runs.steps_s, runs.turns[at], lines, slopes,
                self.causes, self.time_s, self.front, widening, one[at], two[at], found.ends_s[at], found.gap_m[at],
            )  # fmt: skip

        self._in_threads(some, count)
        return found

    def light(self, runs: Runs, found: Passing, which: np.ndarray, epochs: int) -> np.ndarray:
        """(n, d, epochs, 2) what is missing of chosen events (d,) from contact 1 to 4, m2, by Lommel-Seeliger and by
        Lambert."""
        out = np.zeros((len(runs.why), len(which), epochs, 2))
        lines, slopes, _ = self.lines
        one, two = (plain_semi_axes_m(body) for body in (runs.starts.primary, runs.starts.secondary))
        first, last, (across, along) = found.first_s, found.last_s, strips(self.strips, self.points)

        def some(at: slice) -> None:
            missing(
                runs.before.samples[at], runs.after.samples[at], runs.steps_s, runs.turns[at], lines, slopes, which,
                self.time_s, self.front, one[at], two[at], found.ends_s[at], found.gap_m[at], first[at], last[at],
                across, along, out[at],
            )  # fmt: skip

        self._in_threads(some, len(out))
        return out

    def middles_s(self, runs: Runs, timed: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """(n, m, 2) what was timed by each scattering law, and whether (n, m) a run shows it: where it does not, the
        middle of the contacts, or the instant at which outlines are nearest.

        timed (m,): by these definitions instead of those of the measured times.
        """
        timed, found = self.mids.timed if timed is None else timed, self.passing(runs)
        shown, lasts = found.happens.copy(), runs.lasts[:, None]
        first, last = (np.where(lasts, ends, np.nan) for ends in (found.first_s, found.last_s))
        out = np.repeat(0.5 * (first + last)[..., None], 2, axis=2)
        for name, middle in _MIDDLES.items():
            which = np.flatnonzero(timed == name)
            if not len(which):
                continue
            epochs = self.epochs if middle is centroid else 2 * self.epochs - 1
            curves = self.light(runs, found, which, epochs).transpose(0, 1, 3, 2)
            out[:, which] = first[:, which, None] + (last - first)[:, which, None] * middle(curves)
            shown[:, which] &= curves.max(axis=(2, 3)) > 0.0
        return out, shown

    def _in_threads(self, some: Callable[[slice], None], count: int) -> None:
        """Parts of n runs side by side."""
        parts = max(1, min(self.workers or cores(), count))
        edges = [count * k // parts for k in range(parts + 1)]
        with ThreadPoolExecutor(parts) as threads:
            for _ in threads.map(some, [slice(a, b) for a, b in zip(edges, edges[1:], strict=False)]):
                pass


def plain_semi_axes_m(bodies: Bodies) -> np.ndarray:
    """(n, 3); InputError for other bodies than ellipsoids."""
    if not isinstance(bodies, Ellipsoids):
        raise InputError(
            "primary or secondary",
            "a mesh or a layered body is given, allowed here are ellipsoids; give its semi_axes_m",
        )
    return np.ascontiguousarray(bodies.semi_axes_m.T)
